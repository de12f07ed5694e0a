"""Evidence taken on site: checks, photos, readings and the handover, each stored once."""
