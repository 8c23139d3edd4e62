"""What every candidate pit does to every place under the floor, so that layouts are sums.

With u = p + p^2 / (2 p_atm), pits draw on one another and on the floor as

    u at pit i   = sum over references of reference_at_pits[i, r] u_r - sum_j interaction[i, j] q_j
    u at a place = sum over references of its own reference part u_r - sum_j its influence of j q_j

with q_j the flow from the soil into pit j. Each pit is solved on its own, all its cells resolved,
and the rest is small dense algebra: no layout needs a solve of its own.

Length: one noun with its algebra, and what makes it.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from soilflow.air import pressure_from_u, u_from_pressure
from soilflow.case import Case
from soilflow.errors import InputError
from soilflow.flow.grid import Grid, Resolution
from soilflow.flow.response import SoilResponse
from soilflow.flow.side_by_side import Progress
from soilflow.grids import fitting_grid_of
from soilflow.results.coverage import PASS_LINE, WorstPatch
from soilflow.results.floor import FloorPressure, FloorResponse, floor_response
from soilflow.site.effects import HOUSE
from soilflow.site.site import Site
from soilflow.studies.bridges import Bridge, Bridging, ambient_of, bridging_of, solve_bridge
from soilflow.studies.candidates import Candidates, Dropped
from soilflow.studies.judged_places import judged_openings, judged_patches
from soilflow.studies.single_pits import SinglePit, solve_single_pit
from soilflow.studies.undug import Undug, alone, for_each, undug_soil

__all__ = ["COMMON", "Influence", "LayoutFlows", "common_grid", "influence_of"]

Array = NDArray[np.float64]
Narrow = NDArray[np.float32]
Index = NDArray[np.int64]

# The grid all candidates share: pits coarser than a run's, for there are many of them.
COMMON = Resolution(
    name="common", cells_per_radius=3.0, line_size=0.05, growth=1.5, largest_inside=0.3
)


@dataclass(frozen=True, kw_only=True, eq=False)
class LayoutFlows:
    """What some of the candidates together draw.

    Parameters
    ----------
    indices : array of int, shape (k,)
        The pits, by their number among the candidates.
    flows : array, shape (k,)
        Flow from the soil into each. [m3/s]
    pit_u : array, shape (k,)
        p + p^2 / (2 p_atm) at each. [Pa]
    reference_u : array, shape (m,)
        The same at the references. [Pa]
    """

    indices: Index
    flows: Array
    pit_u: Array
    reference_u: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Influence:
    """Candidate pits and what each does to the others and to the floor, per flow into it.

    Parameters
    ----------
    case : Case
        The case.
    candidates : Candidates
        The n candidates, those without any air around them dropped.
    references : tuple of str
        The m references: the house, the outdoors, yards and rooms.
    interaction : array, shape (n, n)
        Fall of u at a pit per flow into another, and into itself; symmetric. [s Pa/m3]
    reference_at_pits : array, shape (n, m)
        Share of each reference in the u of a pit that draws nothing; rows sum to one. [-]
    reference_matrix : array, shape (m, m)
        Port matrix of the references with no pit dug. [m3/(s Pa)]
    patch_x, patch_y : array, shape (k,)
        Middles of the patches of floor among which the worst is looked for. [m]
    patch_room : array of int, shape (k,)
        Reference over each patch, by its number; its own pressure is what suction counts from.
    patch_influence : array, shape (n, k)
        Fall of the mean u over each patch per flow into each pit. [s Pa/m3]
    patch_reference : array, shape (m, k)
        Share of each reference in the mean u of each patch. [-]
    floor : FloorResponse
        Columns of the floor, and the unit fields of the references there.
    spot_column : array of int, shape (s,)
        Number of each floor column with air below among all columns, row by row.
    spot_influence : array of float32, shape (n, s)
        Fall of u at each of these per flow into each pit. [s Pa/m3]
    pit_columns : tuple of (array of int), n of them
        Numbers of the columns over each pit, which count at its own pressure.
    opening_names : tuple of str
        Joint or crack of each slot through the floor that opens into soil.
    opening_x, opening_y : array, shape (o,)
        Their places. [m]
    opening_room : array of int, shape (o,)
        Reference above each, by its number.
    opening_influence : array, shape (n, o)
        Fall of u at the lower end of each slot per flow into each pit. [s Pa/m3]
    opening_reference : array, shape (m, o)
        Share of each reference in that u. [-]
    bridging : Bridging
        What each pit adds to all this once it is dug, drawing or not.
    reciprocity : float
        Largest difference between the fall at one pit by another and the other way round, over
        the root of the product of their own; taken out by averaging both. [-]
    iterations : int
        Most iterations any pit took.
    """

    case: Case
    candidates: Candidates
    references: tuple[str, ...]
    interaction: Array
    reference_at_pits: Array
    reference_matrix: Array
    patch_x: Array
    patch_y: Array
    patch_room: Index
    patch_influence: Array
    patch_reference: Array
    floor: FloorResponse
    spot_column: Index
    spot_influence: Narrow
    pit_columns: tuple[Index, ...]
    opening_names: tuple[str, ...]
    opening_x: Array
    opening_y: Array
    opening_room: Index
    opening_influence: Array
    opening_reference: Array
    bridging: Bridging
    reciprocity: float
    iterations: int

    def reference_u(self, pressures: Mapping[str, float]) -> Array:
        """u at the references, in their order.

        Parameters
        ----------
        pressures : mapping of str to float
            Pressure by reference, as `Case.reference_pressures` gives them. [Pa]

        Returns
        -------
        u : array, shape (m,)
            p + p^2 / (2 p_atm). [Pa]
        """
        atm = self.case.air.pressure_atm
        return np.array([float(u_from_pressure(pressures[r], atm)) for r in self.references])

    def solve_layout(
        self,
        indices: Sequence[int],
        pressures: Mapping[str, float],
        *,
        vacuums: ArrayLike | None = None,
        pit_u: ArrayLike | None = None,
        flows: ArrayLike | None = None,
    ) -> LayoutFlows:
        """Flows and u of some pits together, from whichever of the two is known.

        Parameters
        ----------
        indices : sequence of int
            The pits, by their number among the candidates.
        pressures : mapping of str to float
            Pressure by reference. [Pa]
        vacuums : array_like, shape (k,), or None
            Vacuum in each pit, positive. [Pa]
        pit_u : array_like, shape (k,), or None
            p + p^2 / (2 p_atm) in each pit. [Pa]
        flows : array_like, shape (k,), or None
            Flow from the soil into each pit. [m3/s]

        Returns
        -------
        answer : LayoutFlows
            Flows, and u at pits and references.

        Raises
        ------
        InputError
            Not exactly one of vacuums, u and flows is given.
        """
        if sum(given is not None for given in (vacuums, pit_u, flows)) != 1:
            raise InputError("give one of vacuums, pit_u and flows")
        at = np.asarray(indices, dtype=np.int64)
        own, shares = self.between(at)
        u_r = self.reference_u(pressures)
        still = shares @ u_r
        if flows is not None:
            q = np.asarray(flows, dtype=float)
            return LayoutFlows(indices=at, flows=q, pit_u=still - own @ q, reference_u=u_r)
        atm = self.case.air.pressure_atm
        u = np.asarray(
            u_from_pressure(-np.asarray(vacuums, dtype=float), atm) if pit_u is None else pit_u,
            dtype=float,
        )
        return LayoutFlows(
            indices=at, flows=np.linalg.solve(own, still - u), pit_u=u, reference_u=u_r
        )

    def between(self, indices: Sequence[int] | Index) -> tuple[Array, Array]:
        """What the pits of a layout, or of many, do to one another, all of them dug.

        Parameters
        ----------
        indices : sequence of int or array of int
            The pits, by their number among the candidates; an array of shape (..., k) holds
            many layouts of k pits.

        Returns
        -------
        interaction : array, shape (..., k, k)
            Fall of u at each per flow into each. [s Pa/m3]
        shares : array, shape (..., k, m)
            Share of each reference in u at each that draws nothing. [-]
        """
        at = np.asarray(indices, dtype=np.int64)
        more, shares = self.bridging.among(at)
        plain = self.interaction[at[..., :, None], at[..., None, :]]
        return plain + more, self.reference_at_pits[at] + shares

    def port_matrix(self, indices: Sequence[int]) -> tuple[tuple[str, ...], Array]:
        """Port matrix of some pits together, as fans and pipes take it.

        Between references it has what passes through the soil with no pit dug, and what passes
        by way of the pits; a crack that opens straight into one pit from two rooms is left out.

        Parameters
        ----------
        indices : sequence of int
            The pits, by their number among the candidates.

        Returns
        -------
        names : tuple of str
            References, then the pits.
        matrix : array, shape (m + k, m + k)
            Symmetric, rows summing to zero. [m3/(s Pa)]
        """
        at = np.asarray(indices, dtype=np.int64)
        own, shares = self.between(at)
        inverse = np.linalg.inv(own)
        own = np.asarray(0.5 * (inverse + inverse.T), dtype=float)
        across = -own @ shares
        among = self.reference_matrix - shares.T @ across
        names = (*self.references, *(self.candidates.kept[i].name for i in at))
        return names, np.block([[among, across.T], [across, own]])

    def patch_u(self, answer: LayoutFlows) -> Array:
        """Mean u over each patch.

        Parameters
        ----------
        answer : LayoutFlows
            A layout's flows.

        Returns
        -------
        u : array, shape (k,)
            By patch. [Pa]
        """
        drawn = answer.flows @ self.patch_influence[answer.indices]
        bridged = self._bridged(answer, self.bridging.felt_by_patches)
        return np.asarray(answer.reference_u @ self.patch_reference - drawn + bridged)

    def opening_u(self, answer: LayoutFlows) -> Array:
        """u at the lower end of each slot.

        Parameters
        ----------
        answer : LayoutFlows
            A layout's flows.

        Returns
        -------
        u : array, shape (o,)
            By slot; above that of its room soil gas comes in. [Pa]
        """
        drawn = answer.flows @ self.opening_influence[answer.indices]
        bridged = self._bridged(answer, self.bridging.felt_by_openings)
        return np.asarray(answer.reference_u @ self.opening_reference - drawn + bridged)

    def _bridged(self, answer: LayoutFlows, felt: Array | Narrow) -> Array:
        """What the pits add to a field beside what they draw. [Pa]"""
        at = answer.indices
        strength = self.bridging.amplitudes(at, answer.flows, answer.reference_u)
        return np.asarray(np.tensordot(strength, felt[at], axes=2))

    def worst_margins(self, answer: LayoutFlows) -> dict[str, WorstPatch]:
        """The worst place of the house's floor and of every room's.

        Parameters
        ----------
        answer : LayoutFlows
            A layout's flows.

        Returns
        -------
        worst : dict of str to WorstPatch
            By reference; one without a patch is left out.
        """
        atm = self.case.air.pressure_atm
        pressure = pressure_from_u(self.patch_u(answer), atm)
        room = pressure_from_u(answer.reference_u, atm)[self.patch_room]
        margin = room - pressure - PASS_LINE
        found = {}
        for r, name in enumerate(self.references):
            mine = np.flatnonzero(self.patch_room == r)
            if mine.size:
                k = mine[np.argmin(margin[mine])]
                found[name] = WorstPatch(
                    margin=float(margin[k]), x=float(self.patch_x[k]), y=float(self.patch_y[k])
                )
        return found

    def floor_pressure(self, answer: LayoutFlows, *, room: str | None = None) -> FloorPressure:
        """Pressure under the floor, for coverage and pictures.

        Parameters
        ----------
        answer : LayoutFlows
            A layout's flows.
        room : str or None
            The reference whose floor alone is wanted, its own pressure taken off; None takes
            all floor, against the house.

        Returns
        -------
        floor : FloorPressure
            As a run of the layout would have it, on this grid.
        """
        drawn = answer.flows @ self.spot_influence[answer.indices]
        bridged = self._bridged(answer, self.bridging.felt_by_spots)
        added = np.zeros((1, *self.floor.floor.shape))
        added.ravel()[self.spot_column] = bridged - drawn
        references = self.floor.unit_fields.reshape(len(self.references), -1)
        for i, u_i in zip(answer.indices, answer.pit_u, strict=True):
            over = self.pit_columns[i]
            added.ravel()[over] = u_i - answer.reference_u @ references[:, over]
        fields = np.concatenate([self.floor.unit_fields, added])
        whole = FloorResponse(
            x=self.floor.x,
            y=self.floor.y,
            floor_port=self.floor.floor_port,
            unit_fields=fields,
            open_x=self.floor.open_x,
            open_y=self.floor.open_y,
        )
        port = None if room is None else self.references.index(room)
        u = np.append(answer.reference_u, 1.0)
        return whole.pressure(u, self.case.air.pressure_atm, room=port)

    def __repr__(self) -> str:
        return (
            f"Influence({len(self.candidates)} candidates, references "
            f"{', '.join(self.references)}, {self.patch_x.size} patches, {self.spot_column.size} "
            f"spots, {len(self.opening_names)} openings, reciprocal to {self.reciprocity:.1e})"
        )


def common_grid(case: Case, candidates: Candidates, *, site: Site | None = None) -> Grid:
    """The grid on which every candidate is resolved.

    Parameters
    ----------
    case : Case
        The case; its own resolution does not count.
    candidates : Candidates
        The candidates.
    site : Site or None
        The site; None for that of the case.

    Returns
    -------
    grid : Grid
        With the cells that each pit needs across the whole floor.

    Raises
    ------
    TooLargeError
        Solving it would take more memory than is free.
    """
    coarse = replace(case, resolution=COMMON)
    sites = () if site is None else (site,)
    return fitting_grid_of(coarse, [alone(c.point) for c in candidates.kept], sites=sites)


def influence_of(
    case: Case,
    candidates: Candidates,
    *,
    site: Site | None = None,
    grid: Grid | None = None,
    executor: Executor | None = None,
    progress: Progress | None = None,
) -> Influence:
    """Solve every candidate on its own, and gather what each does to the others and the floor.

    Parameters
    ----------
    case : Case
        The case.
    candidates : Candidates
        At least one.
    site : Site or None
        Another site of the same house; None for that of the case.
    grid : Grid or None
        Grid to use; None makes the common one.
    executor : concurrent.futures.Executor or None
        Where to solve them; None shares the work with forked processes where it can.
    progress : callable or None
        Called with the number of pits done and of all pits, first with none done.

    Returns
    -------
    influence : Influence
        Exact on this grid for one pit, and for several to the extent that each leaves the
        others' surroundings alone.

    Raises
    ------
    InputError
        No candidate, or none with air around it, or no floor with air below it.
    TooLargeError
        The common grid would take more memory than is free.
    ConvergenceError, BalanceError
        A solve missed its tolerance.
    """
    if not candidates.kept:
        raise InputError("no candidate to look at; dig elsewhere or smaller", field="candidates")
    place = case.site if site is None else site
    points = [c.point for c in candidates.kept]
    depth = max(getattr(p.pit, "depth_below_slab", 0.0) for p in points)
    lattice = common_grid(case, candidates, site=site) if grid is None else grid
    undug = undug_soil(place, lattice, case.air.viscosity, depth=depth)
    work = functools.partial(for_each, depth=depth, executor=executor)
    tell = _halves(progress)
    singles = work(solve_single_pit, undug, [(point,) for point in points], progress=tell[0])
    breathing = [i for i, single in enumerate(singles) if single.through_soil > 0.0]
    if not breathing:
        raise InputError("no candidate has any air around it", field="candidates")
    airless = tuple(
        Dropped(c.x, c.y, "the soil around the pit has no air path")
        for i, c in enumerate(candidates.kept)
        if i not in breathing
    )
    kept = candidates.chosen(breathing)
    kept = replace(kept, dropped=(*kept.dropped, *airless))
    alive = [singles[i] for i in breathing]
    response = undug.response()
    ambient = ambient_of(undug, kept, alive, response)
    bridges = work(solve_bridge, undug, ambient, progress=tell[1])
    return _gathered(case, place, kept, undug, alive, response, bridges)


def _halves(progress: Progress | None) -> tuple[Progress | None, Progress | None]:
    """One count over both rounds."""
    if progress is None:
        return None, None
    tell = progress
    return (
        lambda done, total: tell(done, 2 * total),
        lambda done, total: tell(total + done, 2 * total),
    )


def _gathered(
    case: Case,
    site: Site,
    candidates: Candidates,
    undug: Undug,
    singles: Sequence[SinglePit],
    response: SoilResponse,
    bridges: Sequence[Bridge],
) -> Influence:
    """Put the answers of single pits together."""
    references = undug.references
    floor = floor_response(undug.soil, undug.network, response)
    rooms = [references.index(r) for r in (HOUSE, *site.room_names) if r in references]
    patches = judged_patches(floor, rooms)
    openings = judged_openings(undug.soil, undug.network, response.unit_fields, rooms)
    own = np.array([single.own for single in singles])
    shares = np.array([single.to_references for single in singles])
    interaction, apart = _interaction(own, singles)
    spots = np.flatnonzero(floor.floor.ravel() & ~np.isnan(floor.unit_fields[0]).ravel())
    fields = [np.nan_to_num(single.floor_field) / y for single, y in zip(singles, own, strict=True)]
    return Influence(
        case=case,
        candidates=candidates,
        references=references,
        interaction=interaction,
        reference_at_pits=shares / shares.sum(axis=1, keepdims=True),
        reference_matrix=response.port_matrix,
        patch_x=patches.x,
        patch_y=patches.y,
        patch_room=patches.room,
        patch_influence=np.array([patches.means(field) for field in fields]),
        patch_reference=np.array([patches.means(field) for field in floor.unit_fields]),
        floor=floor,
        spot_column=spots,
        spot_influence=np.array([field.ravel()[spots] for field in fields], dtype=np.float32),
        pit_columns=tuple(np.flatnonzero(single.floor_field == 1.0) for single in singles),
        opening_names=openings.names,
        opening_x=openings.x,
        opening_y=openings.y,
        opening_room=openings.room,
        opening_influence=np.array([s.slot_field[openings.slots] for s in singles]) / own[:, None],
        opening_reference=openings.reference,
        bridging=bridging_of(candidates, singles, bridges, patches, spots, openings.slots),
        reciprocity=apart,
        iterations=max(single.iterations for single in singles),
    )


def _interaction(own: Array, singles: Sequence[SinglePit]) -> tuple[Array, float]:
    """Fall of u at each pit per flow into each, and how far from symmetric it was."""
    layers = np.array([single.layer for single in singles])
    fields = np.array([single.field for single in singles])
    raw = (layers @ fields.T) / np.outer(own, own)
    np.fill_diagonal(raw, 1.0 / own)
    scale = np.sqrt(np.outer(own, own))
    apart = float(np.abs((raw - raw.T) * scale).max())
    return 0.5 * (raw + raw.T), apart
