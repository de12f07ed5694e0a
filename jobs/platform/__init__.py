"""What the platform admin keeps: companies, schemes, and who may sign in."""
