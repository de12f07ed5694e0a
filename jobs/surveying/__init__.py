"""From a look at a loft to a layer plan."""
