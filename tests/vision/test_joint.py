import json
from importlib import resources

import numpy as np

from vision.hat import TABLE as CIRCLES_TABLE
from vision.joint import TABLE, Joint, construction
from vision.steps import GAPS_MM, LOOKS


def test_rivets_beyond_a_wide_gap_are_a_joint_and_an_undercut_is_none() -> None:
    riveted = construction(Joint(10, 0.9, 40.0, 1.16, 0.9, 0.3, 0.2))
    cast = construction(Joint(9, 0.3, 2.0, 1.03, 0.9, 0.3, 0.05))
    assert riveted["two-piece"] > 0.9
    assert cast["two-piece"] < 0.1
    assert sum(riveted.values()) == 1.0


def test_the_tables_say_where_their_numbers_come_from_and_have_one_a_feature() -> None:
    joint, circles = (
        json.loads(resources.files("vision").joinpath(name).read_text(encoding="utf-8"))
        for name in (TABLE, CIRCLES_TABLE)
    )
    assert "fit_joint" in joint["provenance"]
    assert len(joint["weights"]) == len(Joint(9, 0.3, 2.0, 1.03, 0.9, 0.3, 0.05).features())
    assert "fit_circles" in circles["provenance"]
    assert {len(circles[name]) for name in ("hat", "ring_inner")} == {1 + LOOKS + len(GAPS_MM) + 2}
    assert np.isfinite([*joint["weights"], *circles["hat"], *circles["ring_inner"]]).all()
