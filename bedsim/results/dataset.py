"""One dataset of a result file, as writers, readers and the documentation know it."""

from __future__ import annotations

from dataclasses import dataclass

from bedsim.quantities import FIRST_VERSION, Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Dataset:
    """One dataset of the file: a quantity in a group.

    `dims`: names of its axes; a dataset whose only axis carries its own name is the dimension scale of that
    axis.
    `field`: attribute of Run, LayerResult or Trace it is taken from; empty for fixed labels.  `since`: the
    version of the file that brought it.
    """

    group: str
    name: str
    dims: tuple[str, ...]
    unit: str
    long_name: str
    kind: Kind = "float64"
    field: str = ""
    since: tuple[int, int] = FIRST_VERSION

    @property
    def is_scale(self) -> bool:
        """Whether this dataset is the dimension scale of its own axis."""
        return self.dims == (self.name,)
