"""`bedsim gauge --into`: keys put into a scenario at the right corner, the file as it was kept beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from bedsim.errors import InputError
from bedsim.files import read_bytes, write_files
from bedsim.metrology.snippet import MeasuredKey, StatedKey, value_text
from bedsim.scenario.idle_rules import NOT_DRAWN
from bedsim.scenario.keys import PARTS, nearest
from bedsim.scenario.load import load_scenario, scenario_from_text
from bedsim.scenario.toml_edit import Edit, edited
from bedsim.scenario.tree import corners_of, lookup
from bedsim.table_text import table_text


class Into:
    """A scenario to put keys into, and the corner that was measured (None: what all corners share)."""

    def __init__(self, scenario: Path, corner: str | None, where: Path) -> None:
        """Raises InputError where the scenario cannot be used as it is, or has no such corner."""
        self._where = where
        self._before = read_bytes(scenario)
        self.path, self.loaded = scenario, load_scenario(scenario, taught=False)
        names = [c.name for c in self.loaded.scenario.corner]
        if corner is not None and corner not in names:
            near = nearest(corner, names)
            hint = f" Did you mean {near}?" if near else ""
            raise InputError(f"{where}: corner = {corner}: must be one of {', '.join(names)}.{hint}")
        self.corner = None if corner is None else names.index(corner)
        self.name = corner

    def needs_corner(self, where: Path) -> None:
        """Refuse what belongs to one screw where it is not said to which."""
        if self.corner is None:
            names = ", ".join(c.name for c in self.loaded.scenario.corner)
            raise InputError(
                f"{where}: corner: which screw this is must be said: `# corner = NAME` on top, or --set "
                f"corner=NAME. Corners of {self.path}: {names}."
            )

    def put(
        self,
        keys: Sequence[MeasuredKey | StatedKey],
        replaced: Sequence[str] = (),
        tables: Mapping[str, str] | None = None,
    ) -> list[str]:
        """Put keys in and tell what was done; keys of the table that they replace become comments.

        `tables`: text of CSV files that they name, written beside the scenario.  The scenario as it will be
        is loaded before anything is written; it appears complete, or nothing does.  Raises InputError.
        """
        if not keys:
            raise InputError(f"{self._where}: gives no keys to put into {self.path}.")
        tables = tables or {}
        self._refuse_shared(keys[0].table, replaced)
        changes = [self._edit(k.table, k.key, value_text(k)) for k in keys if not self._rests(k)]
        old = [self._edit(keys[0].table, key, None) for key in replaced]
        text = edited(self._before.decode("utf-8-sig"), [*old, *changes], str(self.path))
        numbers = {name: _numbers(table) for name, table in tables.items()}
        scenario_from_text(text, name=str(self.path), tables={**self.loaded.tables, **numbers})
        kept = _free_name(self.path)
        beside = {self.path.parent / name: table for name, table in tables.items()}
        write_files({self.path: text, kept: self._before, **beside})
        return self._told(changes, kept)

    def _refuse_shared(self, table: str, replaced: Sequence[str]) -> None:
        """Refuse what all corners share and one cannot take back: it would be added to what was measured."""
        for key in replaced:
            if lookup(self.loaded.tree, (*table.split("."), key))[0]:
                raise InputError(
                    f"{self.path}: {table}.{key} is that of all corners and would be added to what was "
                    "measured at one: write it into the [[corner]] entries instead."
                )

    def _rests(self, key: MeasuredKey | StatedKey) -> bool:
        """Whether a key would do nothing at this corner, and be refused: how a bow was read that no end
        draws straighter."""
        if key.key != "bow_measured" or self.corner is None:
            return False
        return self.loaded.scenario.corner[self.corner].screw.ends in NOT_DRAWN

    def _edit(self, table: str, key: str, value: str | None) -> Edit:
        steps = (*table.split("."), key)
        return Edit(corner=self.corner if steps[0] in PARTS else None, key=steps, value=value)

    def _told(self, changes: Sequence[Edit], kept: Path) -> list[str]:
        at = {None: "", **{self.corner: f", corner {self.name}"}}[changes[0].corner]
        said = ", ".join(".".join(edit.key) for edit in changes)
        lines = [f"Put into {self.path}{at}: {said}. As it was: {kept}."]
        for edit in changes:
            if edit.corner is None and (own := list(self._own(edit))):
                lines.append(f"{'.'.join(edit.key)}: {', '.join(own)} have their own, which stays.")
        return lines

    def _own(self, edit: Edit) -> Iterable[str]:
        """Names of the corners whose own key stands before the common one."""
        for corner in corners_of(dict(self.loaded.tree)):
            if lookup(corner, edit.key)[0]:
                yield str(corner.get("name"))


def _numbers(table: str) -> np.ndarray:
    return np.array([[float(c) for c in cells] for _, cells in table_text(table.encode(), "").rows[1:]])


def _free_name(path: Path) -> Path:
    """machine.before.toml beside machine.toml, or the next number that is free."""
    names = (path.with_name(f"{path.stem}.before{n}{path.suffix}") for n in ("", *map(str, range(2, 10_000))))
    return next(name for name in names if not name.exists())
