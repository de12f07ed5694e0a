"""Who goes where, when: booking, moving and cancelling visits."""
