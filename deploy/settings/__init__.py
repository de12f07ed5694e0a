"""One base and three small files on it; `DJANGO_SETTINGS_MODULE` names the one in use."""
