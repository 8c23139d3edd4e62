"""A result as one labelled data set; the only place that knows xarray."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from soilflow.errors import SoilflowError
from soilflow.results.tables import MEMBERS, LabelledArray

if TYPE_CHECKING:
    from xarray import Dataset

__all__ = ["labelled"]


def labelled(
    groups: Iterable[tuple[tuple[str, ...], list[LabelledArray]]], facts: Mapping[str, str]
) -> Dataset:
    """Put the arrays of a result into one data set.

    Parameters
    ----------
    groups : iterable of (tuple of str, list of LabelledArray)
        The arrays by group, as `soilflow.results.tables.array_groups` gives them.
    facts : mapping of str to str
        What the whole is about.

    Returns
    -------
    dataset : xarray.Dataset
        Arrays of the groups in `soilflow.results.tables.MEMBERS` are stacked along the axis of
        the group; where a member lacks an array, there is NaN.

    Raises
    ------
    SoilflowError
        xarray is not installed.
    """
    try:
        import xarray
    except ImportError as error:
        raise SoilflowError(
            'labelled data sets need the package xarray: pip install "soilflow[xarray]"'
        ) from error
    places: dict[str, Any] = {}
    arrays: dict[str, Any] = {}
    stacks: dict[str, dict[str, dict[str, LabelledArray]]] = {group: {} for group in MEMBERS}
    for path, members in groups:
        for array in members:
            if path and path[0] in MEMBERS:
                stacks[path[0]].setdefault(array.name, {})[path[1]] = array
            else:
                (arrays if path else places)[array.name] = _variable(array)
    for group, by_name in stacks.items():
        names = list(dict.fromkeys(name for have in by_name.values() for name in have))
        places.setdefault(MEMBERS[group], (MEMBERS[group], np.array(names, dtype=object)))
        for name, have in by_name.items():
            arrays[name] = _stacked(have, names, MEMBERS[group])
    return xarray.Dataset(arrays, coords=places, attrs=dict(facts))


def _attributes(array: LabelledArray) -> dict[str, Any]:
    units = {"units": array.unit} if array.unit else {}
    return {**units, "long_name": array.long_name, **array.remarks}


def _variable(array: LabelledArray) -> tuple[tuple[str, ...], Any, dict[str, Any]]:
    # a copy, so that writing into the data set leaves the result alone
    return array.axes, np.array(array.values, order="C"), _attributes(array)


def _stacked(
    have: Mapping[str, LabelledArray], names: Iterable[str], axis: str
) -> tuple[tuple[str, ...], Any, dict[str, Any]]:
    """One array over an axis, from its parts by name."""
    first = next(iter(have.values()))
    missing = np.full(first.values.shape, np.nan)
    values = [have[name].values if name in have else missing for name in names]
    return (axis, *first.axes), np.stack(values), _attributes(first)
