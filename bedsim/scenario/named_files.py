"""Files that a file names: in its own folder or below, so that a file from anybody opens nothing else.

The scenario of a plan may also stand one folder above, where plans have a folder of their own beside it.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath, PureWindowsPath

from bedsim.errors import InputError
from bedsim.files import reason
from bedsim.scenario.keys import nearest


class NamedFileError(InputError):
    """A name that is not taken; `rule` and `hint` are the words for it."""

    def __init__(self, rule: str, hint: str = "") -> None:
        super().__init__(f"{rule}. {hint}".rstrip())
        self.rule, self.hint = rule, hint


def named_file(written: str, folder: Path, *, of: str = "scenario", above: int = 0) -> Path:
    """The file that `written` names in `folder`, that of the `of` that names it; `above` it is that many
    folders up at most.  Raises NamedFileError."""
    rule = f"must name a file in the {of}'s folder or below it" + (", or one folder above" if above else "")
    steps = PurePosixPath(written).parts
    up = next((k for k, step in enumerate(steps) if step != ".."), len(steps))
    names = (PurePosixPath(*steps[up:]), PureWindowsPath(written), PureWindowsPath(*steps[up:]))
    absolute = any(n.is_absolute() or n.drive for n in names)
    if not written or "\0" in written or up > above or absolute or any(".." in n.parts for n in names[::2]):
        raise NamedFileError(rule)
    try:
        path = (folder / written).resolve()
        inside = path.is_relative_to((folder / "/".join(steps[:up])).resolve())
        there = path.is_file()
    except (OSError, UnicodeError) as fault:
        why = reason(fault) if isinstance(fault, OSError) else "its name is none"
        raise NamedFileError(f"cannot be read: {why}") from None
    if not inside:
        raise NamedFileError(rule, "A link leads out of it.")
    if not there:
        near = nearest(written, sorted(p.name for p in folder.glob(f"*{path.suffix}")))
        raise NamedFileError("no such file", f'Did you mean "{near}"?' if near else f"Looked in {folder}.")
    return path
