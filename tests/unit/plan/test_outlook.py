from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from idlewright.errors import BadInput
from idlewright.plan.outlook import CheckOption, Ending, Outlook, RepairOption, Tariff

CHECK = CheckOption("look", np.eye(2), minutes=1.0)
REPAIR = RepairOption("mend", np.array([0.9, 0.0]), minutes=10.0)
GOOD = Outlook(np.array([0.4, 0.6]), (CHECK,), (REPAIR,), (Ending("stop", np.full(2, 99.0)),),
               Tariff(1.0))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"weight": np.array([0.4, 0.5])}, "weights"),
        ({"endings": ()}, "no way to end"),
        ({"endings": (Ending("stop", np.array([1.0, -1.0])),)}, "ending 'stop'"),
        ({"suspect": np.array([0])}, "suspects"),
        ({"tariff": Tariff(-1.0)}, "tariff"),
        ({"checks": (replace(CHECK, outcome=np.full((2, 2), 0.4)),)}, "check 'look'"),
        ({"checks": (replace(CHECK, outcome=np.eye(3)),)}, "wrong shape"),
        ({"checks": (replace(CHECK, minutes=-1.0),)}, "negative"),
        ({"checks": (replace(CHECK, needs={"key": "on"}),)}, "state 'key'"),
        ({"checks": (CHECK, CHECK)}, "same id"),
        ({"repairs": (replace(REPAIR, cure=np.array([1.2, 0.0])),)}, "repair 'mend'"),
        ({"repairs": (replace(REPAIR, share=np.zeros(2)),)}, "share and into"),
        ({"repairs": (replace(REPAIR, share=np.zeros(2), into=np.array([0, 5])),)}, "not exist"),
        ({"repairs": (replace(REPAIR, parts=(5.0, 1.0)),)}, "impossible"),
    ],
)
def test_what_cannot_be_planned_is_refused(change, says):
    """Each fault is named, and all of them come at once as BadInput."""
    with pytest.raises(BadInput, match=says):
        replace(GOOD, **change)


def test_all_faults_come_at_once():
    """Two faults give two problems."""
    with pytest.raises(BadInput) as caught:
        replace(GOOD, endings=(), weight=np.array([1.0, 1.0]))
    assert len(caught.value.problems) == 2
