"""From rotors, pads and calipers to the packages that take them."""

from collections.abc import Callable, Iterable
from math import log

import numpy as np

from catalogue.factor import Room
from catalogue.prepare import Prepared
from catalogue.schema import FloatArray, IntArray


def spread_to_packages(prepared: Prepared, room: Room, log_rows: FloatArray) -> FloatArray:
    """Return for each package row, (P + 1,), what ``log_rows`` says of its rotor, pads or caliper.

    Where left and right rotors differ, the one in hand is either of them.
    """
    if room == "package":
        return log_rows
    if room == "pads":
        return log_rows[prepared.pads]
    if room == "caliper":
        return log_rows[prepared.caliper]
    spread, two = log_rows[prepared.rotor], prepared.two_sided
    right = log_rows[prepared.rotor_right[two]]
    spread[two] = np.logaddexp(spread[two], right) - log(2)
    return spread


def spread_to_some(
    prepared: Prepared, room: Room, log_at: Callable[[IntArray], FloatArray], rows: IntArray
) -> FloatArray:
    """Return the same for some package rows, (S,), from a function that gives what is said of some rows of the room."""
    if room == "package":
        return log_at(rows)
    if room == "pads":
        return log_at(prepared.pads[rows])
    if room == "caliper":
        return log_at(prepared.caliper[rows])
    left, right = prepared.rotor[rows], prepared.rotor_right[rows]
    spread = log_at(left)
    two = np.flatnonzero(left != right)
    spread[two] = np.logaddexp(spread[two], log_at(right[two])) - log(2)
    return spread


def sum_over_rooms(prepared: Prepared, log_rows: Iterable[tuple[Room, FloatArray]]) -> FloatArray:
    """Return the sum of what is said of each package row, (P + 1,), summed room by room first."""
    of_room: dict[Room, FloatArray] = {}
    for room, each in log_rows:
        of_room[room] = of_room[room] + each if room in of_room else each
    total = np.zeros(len(prepared.rotor))
    for room, each in of_room.items():
        total += spread_to_packages(prepared, room, each)
    return total
