"""A net of taut strings in an elliptical head, solved numerically; needs numpy and scipy, knows no material by name."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_matrix, diags_array
from scipy.sparse.linalg import LinearOperator, SuperLU, eigsh, splu

Floats = NDArray[np.float64]
_MOST_STEPS = 30
_SETTLED = 1e-7
"""Newton ends once the out-of-balance force is this small a part of the load."""


@dataclass(frozen=True)
class NetSide:
    """All the mains, or all the crosses."""

    count: int
    tension: float
    """Tension in each string, in N."""
    mass_per_m: float
    """In kg/m."""
    stretch: float
    """Force that would stretch the string to twice its length (modulus times section), in N."""


@dataclass(frozen=True)
class Net:
    """Mains along the head and crosses over it, free to slide on each other, held by the frame at their ends."""

    mains: NetSide
    crosses: NetSide
    width: float
    """Of the head, in m."""
    length: float
    """Of the head, in m."""
    span: float = 1.0
    """Share of width and length over which the strings are spread evenly; at 1 half a spacing is left at the frame."""

    def place(self) -> tuple[Floats, Floats]:
        """Return where the mains lie across the head and the crosses along it, in m from the middle."""

        def spread(count: int, size: float) -> Floats:
            return np.asarray((np.arange(count) + 0.5 - count / 2) * (self.span * size / count), dtype=np.float64)

        return spread(self.mains.count, self.width), spread(self.crosses.count, self.length)

    @cached_property
    def mesh(self) -> Mesh:
        """Return the crossings and the pieces of string between them."""
        return _knot(self)

    @cached_property
    def small_push(self) -> SuperLU:
        """Return the factored stiffness of all crossings, in N/m, for a push so small that no string stretches."""
        mesh = self.mesh
        return splu(csc_matrix(mesh.ends.T @ diags_array(mesh.tension / mesh.piece) @ mesh.ends))

    def frequency(self) -> float:
        """Return the lowest natural frequency, in Hz, with the mass of each piece of string at its ends."""
        root = np.sqrt(self.mesh.mass)
        give = LinearOperator(
            (len(root), len(root)), matvec=lambda moved: root * self.small_push.solve(root * moved.ravel()), dtype=float
        )
        # a fixed start keeps the answer the same from run to run
        slowest = eigsh(give, k=1, which="LM", v0=root, return_eigenvectors=False)
        return float(1 / (2 * math.pi * math.sqrt(slowest[0])))

    def push_stiffness(self, patch: float) -> float:
        """Return force over deflection in the middle, in N/m, for a small even push over a disc of that radius in m."""
        load, middle = self.mesh.patch(patch), self.mesh.middle()
        return float(1 / (middle @ self.small_push.solve(load)))

    def hit_stiffness(self, patch: float, force: float) -> float:
        """Return force over deflection in the middle, in N/m, for a push so strong that the strings stretch.

        Newton's method on the balance of forces. Strings slide freely at the crossings, so each has one tension all
        along, raised by its own stretch.
        """
        mesh = self.mesh
        load = force * mesh.patch(patch)
        deflection = self.small_push.solve(load)
        no_stretch = np.zeros(len(mesh.string_length))
        for _ in range(_MOST_STEPS):
            slope = mesh.ends @ deflection
            slant = np.hypot(mesh.piece, slope)
            longer = np.bincount(mesh.string, slant - mesh.piece, minlength=len(mesh.string_length))
            tension = mesh.tension + (mesh.string_stretch / mesh.string_length * longer)[mesh.string]
            missing = load - mesh.ends.T @ (tension * slope / slant)
            if np.abs(missing).max() <= _SETTLED * force:
                break
            tangent = mesh.ends.T @ diags_array(tension * mesh.piece**2 / slant**3) @ mesh.ends
            # a string's stretch ties all its crossings together; its change of tension is solved for beside them
            ties = mesh.ends.T @ diags_array(slope / slant) @ mesh.belongs
            whole = block_array([[tangent, ties], [ties.T, diags_array(-mesh.string_length / mesh.string_stretch)]])
            deflection += splu(csc_matrix(whole)).solve(np.concatenate((missing, no_stretch)))[: len(missing)]
        return float(force / (mesh.middle() @ deflection))


@dataclass(frozen=True)
class Mesh:
    """The crossings inside the frame and the pieces of string between them, as arrays."""

    x: Floats
    y: Floats
    spacing: tuple[float, float]
    """Between mains and between crosses, in m."""
    ends: csc_matrix
    """Piece by crossing: +1 and -1 at a piece's two ends; an end at the frame has no crossing."""
    piece: Floats
    """Length of each piece, in m."""
    tension: Floats
    """Of each piece at rest, in N."""
    mass: Floats
    """At each crossing, in kg."""
    string: NDArray[np.intp]
    """Which string each piece belongs to."""
    string_length: Floats
    string_stretch: Floats
    belongs: csc_matrix
    """Piece by string, 1 where it belongs."""

    def patch(self, radius: float) -> Floats:
        """Return how one newton, pressed evenly over a disc in the middle, falls to the crossings.

        A disc that lies between the crossings of a very open pattern presses on those around the middle.
        """
        blur = math.sqrt(self.spacing[0] * self.spacing[1])
        share = np.clip((radius - np.hypot(self.x, self.y)) / blur + 0.5, 0.0, 1.0)
        return np.asarray(share / share.sum()) if share.any() else self.middle()

    def middle(self) -> Floats:
        """Return the weights that read the deflection in the middle off the crossings around it."""
        near_x = np.maximum(1 - np.abs(self.x) / self.spacing[0], 0.0)
        near_y = np.maximum(1 - np.abs(self.y) / self.spacing[1], 0.0)
        weight = near_x * near_y
        return np.asarray(weight / weight.sum())


def _knot(net: Net) -> Mesh:
    across, along = net.place()
    half_width, half_length = net.width / 2, net.length / 2
    grid_x, grid_y = np.meshgrid(across, along, indexing="ij")
    inside = (grid_x / half_width) ** 2 + (grid_y / half_length) ** 2 < 1 - 1e-9
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    reach_main = half_length * np.sqrt(1 - (across / half_width) ** 2)
    reach_cross = half_width * np.sqrt(1 - (along / half_length) ** 2)
    pieces = [
        *_cut(number, along, reach_main, 0),
        *_cut(number.T, across, reach_cross, net.mains.count),
    ]
    first, second, piece, string = (np.concatenate(part) for part in zip(*pieces, strict=True))
    return _weigh(net, (grid_x[inside], grid_y[inside]), (first, second, piece, string))


def _cut(
    number: NDArray[np.intp], places: Floats, reach: Floats, offset: int
) -> list[tuple[NDArray[np.intp], NDArray[np.intp], Floats, NDArray[np.intp]]]:
    """Return the pieces of each string of one side: from crossing, to crossing (-1 the frame), length, string."""
    found = []
    for row, (own, half) in enumerate(zip(number, reach, strict=True)):
        here = np.flatnonzero(own >= 0)
        if not len(here):
            continue  # a string too near the rim to meet any other carries nothing
        marks = np.concatenate(([-half], places[here], [half]))
        ids = np.concatenate(([-1], own[here], [-1]))
        found.append((ids[:-1], ids[1:], np.diff(marks), np.full(len(here) + 1, row + offset)))
    return found


def _weigh(
    net: Net,
    where: tuple[Floats, Floats],
    pieces: tuple[NDArray[np.intp], NDArray[np.intp], Floats, NDArray[np.intp]],
) -> Mesh:
    first, second, piece, string = pieces
    crossings = len(where[0])
    index = np.arange(len(piece))
    rows = np.concatenate((index[first >= 0], index[second >= 0]))
    columns = np.concatenate((first[first >= 0], second[second >= 0]))
    signs = np.concatenate((np.full((first >= 0).sum(), -1.0), np.full((second >= 0).sum(), 1.0)))
    ends = csc_matrix((signs, (rows, columns)), shape=(len(piece), crossings))
    is_main = string < net.mains.count
    half_mass = np.where(is_main, net.mains.mass_per_m, net.crosses.mass_per_m) * piece / 2
    used, string = np.unique(string, return_inverse=True)
    stretch = np.where(used < net.mains.count, net.mains.stretch, net.crosses.stretch)
    return Mesh(
        x=where[0],
        y=where[1],
        spacing=(net.span * net.width / net.mains.count, net.span * net.length / net.crosses.count),
        ends=ends,
        piece=piece,
        tension=np.where(is_main, net.mains.tension, net.crosses.tension),
        mass=np.asarray(abs(ends).T @ half_mass),
        string=string,
        string_length=np.bincount(string, piece).astype(np.float64),
        string_stretch=stretch,
        belongs=csc_matrix((np.ones(len(piece)), (index, string)), shape=(len(piece), len(used))),
    )
