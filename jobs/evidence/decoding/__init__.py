"""Opening photos in a process of its own, within bounds, so that a hostile file ends that alone.

`client` is for the service; `child` runs in the other process and imports nothing of Django.
"""
