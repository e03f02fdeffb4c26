"""Worst case and root sum square of many linear chains at once, in floating point.

For search and for pictures of a whole model, where thousands of chains are looked at again and
again with other sizes or tolerances. The chains are put in order once; after that each look costs
little more than the bare sums. Figures here are approximate and never shown: those that are shown
come exact from :mod:`scaler.chains.chain`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.chains.records import Chain
from scaler.problems import InputError, Problem

if TYPE_CHECKING:
    import numpy
    import pandas
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]


@dataclass(frozen=True)
class Bounds:
    """Bounds of every chain, in the order of the chains."""

    middle_approx: Array
    worst_low_approx: Array
    worst_high_approx: Array
    square_low_approx: Array
    square_high_approx: Array


@dataclass(frozen=True)
class _Group:
    """Chains of the same number of sizes: row n holds the n-th size of each."""

    places: NDArray[numpy.intp] | slice
    sizes: NDArray[numpy.intp]
    factors: Array
    steep: Array
    constants: Array


class ManyChains:
    """Linear chains put in order for quick looks.

    ``sizes`` are the names of the sizes in the order that :meth:`bounds` takes their middles and
    half tolerances in, ``names`` those of the chains.
    """

    def __init__(
        self,
        names: Iterable[str],
        constants: Iterable[Fraction | float],
        coefficients: Iterable[Mapping[str, Fraction | float]],
    ) -> None:
        import numpy

        self.names = tuple(names)
        forms = [dict(form) for form in coefficients]
        fixed = numpy.array([float(value) for value in constants])
        if not len(self.names) == len(forms) == len(fixed):
            raise ValueError("as many names, constants and coefficients are needed")
        self.sizes = tuple(sorted({size for form in forms for size in form}))
        number = {size: place for place, size in enumerate(self.sizes)}
        by_count: dict[int, list[int]] = {}
        for place, form in enumerate(forms):
            by_count.setdefault(len(form), []).append(place)
        self._groups = []
        for count, places in sorted(by_count.items()):
            index = numpy.empty((count, len(places)), dtype=numpy.intp)
            factors = numpy.empty((count, len(places)))
            for column, place in enumerate(places):
                for row, size in enumerate(sorted(forms[place])):
                    index[row, column] = number[size]
                    factors[row, column] = float(forms[place][size])
            whole = len(places) == len(forms)
            self._groups.append(
                _Group(
                    slice(None) if whole else numpy.array(places),
                    index,
                    factors,
                    numpy.abs(factors),
                    fixed if whole else fixed[places],
                )
            )

    def __len__(self) -> int:
        return len(self.names)

    def bounds(self, middles: Any, halves: Any, *, capability: float = 1.0) -> Bounds:
        """Bounds of every chain.

        Parameters: middles, halves : the middle of the limits and half the tolerance of each size,
            in the order of ``sizes`` [mm]; capability : of every process.
        Returns: Bounds, approximate [mm].
        Raises: ValueError where there are not as many figures as sizes.
        """
        import numpy

        middle = numpy.asarray(middles, dtype=numpy.float64)
        half = numpy.asarray(halves, dtype=numpy.float64)
        if middle.shape != (len(self.sizes),) or half.shape != middle.shape:
            raise ValueError(f"{len(self.sizes)} middles and half tolerances are needed")
        out = numpy.empty((5, len(self.names)))
        for group in self._groups:
            centre, reach, square = self._sums(group, middle, half)
            numpy.sqrt(square, out=square)
            if capability != 1.0:
                square /= capability
            at = group.places
            out[0, at] = centre
            out[1, at] = centre - reach
            out[2, at] = centre + reach
            out[3, at] = centre - square
            out[4, at] = centre + square
        return Bounds(*out)

    @staticmethod
    def _sums(group: _Group, middle: Array, half: Array) -> tuple[Array, Array, Array]:
        """Σ c·x, Σ |c|·t and Σ (c·t)² of a group's chains."""
        import numpy

        centre = group.constants.copy()
        reach = numpy.zeros_like(centre)
        square = numpy.zeros_like(centre)
        for sizes, factors, steep in zip(group.sizes, group.factors, group.steep, strict=True):
            part = middle.take(sizes)
            part *= factors
            centre += part
            part = half.take(sizes)
            part *= steep
            reach += part
            part *= part
            square += part
        return centre, reach, square

    def frame(self, middles: Any, halves: Any) -> pandas.DataFrame:
        """The bounds as a pandas frame, one row a chain."""
        import pandas

        found = self.bounds(middles, halves)
        return pandas.DataFrame({"chain": self.names, **vars(found)})


def many_chains(chains: Iterable[Chain]) -> ManyChains:
    """The linear ones of some chains, put in order for quick looks.

    Raises InputError where none of them is linear and has figures.
    """
    kept = [chain for chain in chains if chain.linear and chain.basic is not None]
    if not kept:
        raise InputError(
            [
                Problem(
                    "no-linear-chain",
                    "none of these chains is linear",
                    expected="pairs, or conditions that are sums of sizes",
                )
            ]
        )
    return ManyChains(
        [chain.id for chain in kept],
        [chain.constant for chain in kept],
        [
            {
                item.name: item.sensitivity
                for item in chain.contributors
                if isinstance(item.sensitivity, Fraction)
            }
            for chain in kept
        ],
    )
