"""A list of names that fits a phone, however many there are: short ones whole, long ones by how they begin."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

MOST = 48


@dataclass(frozen=True)
class NameList:
    """What is shown of many names.

    Attributes
    ----------
    names : sequence of str
        Names to choose from, at most ``MOST``.
    beginnings : sequence of (str, int)
        Where there are more: how names begin, and how many begin so.
    total : int
        How many names there are in all.
    left_off : int
        How many more match what was looked for.
    find, starts : str
        What was looked for.
    """

    names: Sequence[str] = ()
    beginnings: Sequence[tuple[str, int]] = ()
    total: int = 0
    left_off: int = 0
    find: str = ""
    starts: str = ""

    @property
    def is_long(self) -> bool:
        """Whether looking for a name saves reading all of them."""
        return self.total > MOST


def list_names(names: Sequence[str], *, find: str = "", starts: str = "") -> NameList:
    """Return what to show of ``names``.

    Parameters
    ----------
    names : sequence of str
    find : str
        Part of a name, in capitals or not; empty where nothing is looked for.
    starts : str
        How the names begin that were asked for, when nothing is looked for.
    """
    find = find.strip()
    if find:
        found = [name for name in names if find.casefold() in name.casefold()]
        return NameList(found[:MOST], total=len(names), left_off=max(len(found) - MOST, 0), find=find)
    under = [name for name in names if name.startswith(starts)]
    if len(under) <= MOST:
        return NameList(under, total=len(names), starts=starts)
    common = _common_start(min(under), max(under))
    beginnings = Counter(name[: len(common) + 1] for name in under if name != common)
    return NameList([common] if common in under else [], sorted(beginnings.items()), total=len(names), starts=starts)


def _common_start(first: str, last: str) -> str:
    """Return what two names begin with alike; of the first and last of many in order, what all begin with."""
    alike = next((at for at, pair in enumerate(zip(first, last, strict=False)) if pair[0] != pair[1]), len(first))
    return first[:alike]
