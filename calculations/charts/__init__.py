"""Pictures of an audit for many crews at once, each with the figures behind it.

Like the other drawings (`calculations.drawing`) each is a whole <svg> element that stands by
itself, with a title and a description, told by shape and line: it reads in grey and at 390 px.
"""

from __future__ import annotations

from calculations.charts.crews_over_time import CrewPeriod, draw_crews_over_time
from calculations.charts.depths_by_crew import CrewDepths, draw_depths_by_crew
from calculations.charts.findings_map import MapSpot, SpotKind, draw_findings_map
from calculations.charts.tables import Cell, Table

__all__ = [
    "Cell",
    "CrewDepths",
    "CrewPeriod",
    "MapSpot",
    "SpotKind",
    "Table",
    "draw_crews_over_time",
    "draw_depths_by_crew",
    "draw_findings_map",
]
