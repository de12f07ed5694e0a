"""Running everything on one machine: servers from wheels, kept alive by one supervisor."""
