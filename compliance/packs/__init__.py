"""Evidence packs: everything recorded of some jobs, to take away and check without us."""
