"""What goes on a van."""
