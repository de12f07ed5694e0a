"""Steady conduction of heat in a cross-section, to check the combined method of a joist bay.

The cross-section is cut into rectangular cells; the heat that enters a cell equals the heat
that leaves it (finite volumes, cell-centred, conductances in series across each face). The
sparse symmetric system is solved directly.

Reference
---------
ISO 10211:2017, Thermal bridges in building construction, Heat flows and surface temperatures,
    Detailed calculations: annex C (validation cases 1 and 2 are repeated in tests/published),
    7.3 (subdivisions are doubled until the heat flow settles).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array
from scipy.sparse.linalg import spsolve

from calculations.ceilings import u_value_at_joists
from calculations.checks import InputError, require_between
from calculations.resistance import INSIDE_SURFACE_RESISTANCE, OUTSIDE_SURFACE_RESISTANCE

Array = NDArray[np.float64]
# ISO 10211 asks that doubling the cells changes the heat flow by less than 1 %; we ask more.
SETTLED_CHANGE = 0.001
# Heat in less heat out, as a share of either (ISO 10211 asks 0.0001).
BALANCE_SHARE = 0.0001
MOST_DOUBLINGS = 6


@dataclass(frozen=True, slots=True)
class Edge:
    """What lies beyond one side: air at temperature_c behind a surface resistance [m2K/W].

    A resistance of zero fixes the temperature of the surface itself.
    """

    temperature_c: float
    resistance_m2k_w: float = 0.0


@dataclass(frozen=True, slots=True)
class Block:
    """A rectangle of one material; later blocks lie over earlier ones. Sides in mm."""

    name: str
    left_mm: float
    bottom_mm: float
    right_mm: float
    top_mm: float
    conductivity_w_mk: float


@dataclass(frozen=True, slots=True)
class Section:
    """A cross-section: blocks that fill a rectangle, and what lies beyond each side.

    A side that is None lets no heat through (a plane of symmetry).
    """

    blocks: tuple[Block, ...]
    bottom: Edge | None = None
    top: Edge | None = None
    left: Edge | None = None
    right: Edge | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """Temperatures of a solved section.

    x_mm, y_mm : cell borders, shapes (nx + 1,) and (ny + 1,).
    cell_c : temperature at the middle of each cell [deg C], shape (ny, nx), lowest row first.
    level_c : temperature on the cells' lower and upper borders [deg C], shape (ny + 1, nx).
    heat_in_w_m, heat_out_w_m : heat through all edges, inwards and outwards [W per m of length].
    """

    x_mm: Array
    y_mm: Array
    cell_c: Array
    level_c: Array
    heat_in_w_m: float
    heat_out_w_m: float

    def at(self, x_mm: float, y_mm: float) -> float:
        """Temperature at a point [deg C]: exact in y on cell borders, linear between."""
        middles = (self.x_mm[:-1] + self.x_mm[1:]) / 2
        rows = [float(np.interp(x_mm, middles, row)) for row in self.level_c]
        return float(np.interp(y_mm, self.y_mm, rows))


def solve(section: Section, cells_per_block: int = 8) -> Field:
    """Temperatures of a section with at least `cells_per_block` cells across every strip.

    Raises InputError where blocks leave a gap, or no edge sets the temperature.
    """
    x_mm, y_mm = _borders(section, cells_per_block)
    conductivity = _conductivities(section, x_mm, y_mm)
    dx, dy = np.diff(x_mm) / 1000, np.diff(y_mm) / 1000
    half_x = dx[None, :] / 2 / conductivity / dy[:, None]  # K per W/m, middle to side
    half_y = dy[:, None] / 2 / conductivity / dx[None, :]
    sideways = 1 / (half_x[:, :-1] + half_x[:, 1:])
    upwards = 1 / (half_y[:-1, :] + half_y[1:, :])
    edge_conductance = {
        "bottom": _edge_conductance(section.bottom, half_y[0], dx),
        "top": _edge_conductance(section.top, half_y[-1], dx),
        "left": _edge_conductance(section.left, half_x[:, 0], dy),
        "right": _edge_conductance(section.right, half_x[:, -1], dy),
    }
    diagonal = np.zeros_like(conductivity)
    load = np.zeros_like(conductivity)
    cells: dict[str, tuple[int | slice, int | slice]] = {
        "bottom": np.s_[0, :],
        "top": np.s_[-1, :],
        "left": np.s_[:, 0],
        "right": np.s_[:, -1],
    }
    edges = {side: getattr(section, side) for side in cells}
    if not any(edges.values()):
        raise InputError("section", "has no edge of known temperature.", "Give bottom or top.")
    for side, edge in edges.items():
        if edge is not None:
            diagonal[cells[side]] += edge_conductance[side]
            load[cells[side]] += edge_conductance[side] * edge.temperature_c
    matrix = _matrix(diagonal, sideways, upwards)
    cell_c = spsolve(matrix, load.ravel()).reshape(conductivity.shape)
    flows = np.concatenate(
        [
            edge_conductance[side] * (edge.temperature_c - cell_c[cells[side]])
            for side, edge in edges.items()
            if edge is not None
        ]
    )
    level_c = _levels(cell_c, half_y, edge_conductance, section)
    heat_in, heat_out = float(flows[flows > 0].sum()), float(-flows[flows < 0].sum())
    return Field(x_mm, y_mm, cell_c, level_c, heat_in, heat_out)


def solve_settled(section: Section) -> Field:
    """Solve with ever finer cells until the heat flow settles (ISO 10211, 7.3).

    Raises InputError when it does not settle, or heat in and out differ.
    """
    cells = 8
    field = solve(section, cells)
    for _ in range(MOST_DOUBLINGS):
        cells *= 2
        finer = solve(section, cells)
        change = abs(finer.heat_in_w_m - field.heat_in_w_m)
        field = finer
        if change <= SETTLED_CHANGE * field.heat_in_w_m:
            break
    else:
        raise InputError("section", "the heat flow does not settle.", "Simplify the section.")
    if abs(field.heat_in_w_m - field.heat_out_w_m) > BALANCE_SHARE * field.heat_in_w_m:
        raise InputError("section", "heat in and heat out differ.", "Check the conductivities.")
    return field


def _edge_conductance(edge: Edge | None, half_cell: Array, length_m: Array) -> Array:
    if edge is None:
        return np.zeros_like(length_m)
    return np.asarray(1 / (half_cell + edge.resistance_m2k_w / length_m), dtype=np.float64)


def _matrix(diagonal: Array, sideways: Array, upwards: Array) -> csc_array:
    rows, columns = diagonal.shape
    number = np.arange(rows * columns).reshape(rows, columns)
    diagonal = diagonal.copy()
    diagonal[:, :-1] += sideways
    diagonal[:, 1:] += sideways
    diagonal[:-1, :] += upwards
    diagonal[1:, :] += upwards
    pairs = (
        (number[:, :-1], number[:, 1:], sideways),
        (number[:-1, :], number[1:, :], upwards),
    )
    i = [number.ravel()]
    j = [number.ravel()]
    values = [diagonal.ravel()]
    for first, second, conductance in pairs:
        i += [first.ravel(), second.ravel()]
        j += [second.ravel(), first.ravel()]
        values += [-conductance.ravel(), -conductance.ravel()]
    entries = (np.concatenate(values), (np.concatenate(i), np.concatenate(j)))
    return csc_array(coo_array(entries, shape=(number.size, number.size)))


def _levels(
    cell_c: Array, half_y: Array, edge_conductance: dict[str, Array], section: Section
) -> Array:
    """Temperatures on horizontal borders, weighted by conductance so that flux is continuous."""
    inner = (cell_c[:-1] / half_y[:-1] + cell_c[1:] / half_y[1:]) / (
        1 / half_y[:-1] + 1 / half_y[1:]
    )
    bottom, top = cell_c[0], cell_c[-1]
    if section.bottom is not None:
        flow = edge_conductance["bottom"] * (section.bottom.temperature_c - bottom)
        bottom = bottom + flow * half_y[0]
    if section.top is not None:
        flow = edge_conductance["top"] * (section.top.temperature_c - top)
        top = top + flow * half_y[-1]
    return np.vstack([bottom, inner, top])


def _borders(section: Section, cells: int) -> tuple[Array, Array]:
    require_between("cells_per_block", cells, 2, 4096, "cells")
    x = sorted({side for b in section.blocks for side in (b.left_mm, b.right_mm)})
    y = sorted({side for b in section.blocks for side in (b.bottom_mm, b.top_mm)})
    return _graded(x, cells), _graded(y, cells)


def _graded(marks_mm: list[float], cells: int) -> Array:
    """Cell borders between marks, closer to the marks, where the temperature bends most."""
    phase = np.linspace(0, np.pi, cells + 1)
    share = (1 - np.cos(phase)) / 2
    parts = [
        low + (high - low) * share[:-1] for low, high in zip(marks_mm, marks_mm[1:], strict=False)
    ]
    return np.concatenate([*parts, np.array([marks_mm[-1]])])


def _conductivities(section: Section, x_mm: Array, y_mm: Array) -> Array:
    x = (x_mm[:-1] + x_mm[1:]) / 2
    y = (y_mm[:-1] + y_mm[1:]) / 2
    values = np.full((y.size, x.size), np.nan)
    for block in section.blocks:
        require_between(
            f"{block.name} conductivity_w_mk", block.conductivity_w_mk, 1e-3, 1e3, "W/mK"
        )
        inside_x = (x > block.left_mm) & (x < block.right_mm)
        inside_y = (y > block.bottom_mm) & (y < block.top_mm)
        values[np.ix_(inside_y, inside_x)] = block.conductivity_w_mk
    if np.isnan(values).any():
        raise InputError("blocks", "leave a gap in the section.", "Fill the whole rectangle.")
    return values


@dataclass(frozen=True, slots=True)
class JoistBay:
    """One joist with half a bay on each side, seen along the joist. Lengths in mm, W/mK.

    between_mm is at most joist_depth_mm; above it lie across_mm of wool over joist and bay: 0 for
    none, else at least 1.
    """

    joist_width_mm: float
    joist_spacing_mm: float
    joist_depth_mm: float
    between_mm: float
    across_mm: float
    conductivity_between_w_mk: float
    conductivity_across_w_mk: float
    board_mm: float = 12.5
    board_conductivity_w_mk: float = 0.25
    timber_conductivity_w_mk: float = 0.13
    roof_space_resistance_m2k_w: float = 0.20

    def __post_init__(self) -> None:
        require_between("joist_spacing_mm", self.joist_spacing_mm, 100, 2000, "mm")
        require_between("joist_width_mm", self.joist_width_mm, 10, self.joist_spacing_mm - 10, "mm")
        require_between("between_mm", self.between_mm, 1, self.joist_depth_mm, "mm")
        if self.across_mm != 0:
            require_between("across_mm", self.across_mm, 1, 2000, "mm")

    def section(self, inside_c: float = 20.0, outside_c: float = 0.0) -> Section:
        """Half the bay, from the middle of the joist to the middle of the wool.

        Timber that stands above the wool is left out, as in the combined method.
        """
        half = self.joist_spacing_mm / 2
        board_top, wool_top = self.board_mm, self.board_mm + self.between_mm
        blocks = [
            Block("board", 0, 0, half, board_top, self.board_conductivity_w_mk),
            Block("wool between", 0, board_top, half, wool_top, self.conductivity_between_w_mk),
            Block(
                "joist",
                0,
                board_top,
                self.joist_width_mm / 2,
                wool_top,
                self.timber_conductivity_w_mk,
            ),
        ]
        if self.across_mm > 0:
            across_top = wool_top + self.across_mm
            blocks.append(
                Block("wool across", 0, wool_top, half, across_top, self.conductivity_across_w_mk)
            )
        outside = self.roof_space_resistance_m2k_w + OUTSIDE_SURFACE_RESISTANCE
        return Section(
            tuple(blocks),
            bottom=Edge(inside_c, INSIDE_SURFACE_RESISTANCE),
            top=Edge(outside_c, outside),
        )


@dataclass(frozen=True, slots=True)
class BayCheck:
    """U-value by conduction in two dimensions beside the combined method's [W/m2K].

    difference_share : (combined - conduction) / conduction [-].
    coldest_ceiling_factor : (surface - outside) / (inside - outside) at the coldest point of
        the ceiling [-], with the inside surface resistance of the U-value (0.10).
    """

    conduction_u_w_m2k: float
    combined_u_w_m2k: float
    difference_share: float
    coldest_ceiling_factor: float
    cells: int


def check_joist_bay(bay: JoistBay) -> BayCheck:
    """Compare the combined method with conduction in two dimensions for one joist bay.

    Both are reckoned without the 0.01 that BR 443 adds for noggings, which a plane section
    does not show.
    """
    field = solve_settled(bay.section(1.0, 0.0))
    conduction = field.heat_in_w_m / (bay.joist_spacing_mm / 2000)
    combined = u_value_at_joists(
        joist_width_mm=bay.joist_width_mm,
        joist_spacing_mm=bay.joist_spacing_mm,
        joist_depth_mm=bay.joist_depth_mm,
        between_mm=bay.between_mm,
        across_mm=bay.across_mm,
        conductivity_between_w_mk=bay.conductivity_between_w_mk,
        conductivity_across_w_mk=bay.conductivity_across_w_mk,
        roof_space_resistance_m2k_w=bay.roof_space_resistance_m2k_w,
        board_mm=bay.board_mm,
        board_conductivity_w_mk=bay.board_conductivity_w_mk,
        timber_conductivity_w_mk=bay.timber_conductivity_w_mk,
        fraction_extra=0.0,
    ).u_value_w_m2k
    return BayCheck(
        conduction,
        combined,
        (combined - conduction) / conduction,
        float(field.level_c[0].min()),
        field.cell_c.size,
    )
