"""Engine tests: property-based tests judge results, never how busy the machine is."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("engine", deadline=None)
settings.load_profile("engine")
