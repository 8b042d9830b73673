"""Places of the uncertain numbers in a Sobol design: what is added moves none that is there.

Oracle: the lists as they are without the addition. Negative control: a method's keys sorted among the others.
"""

from refracmc.case.uncertain_inputs import LATER_NAMES, RESPONDS, later_names, variable_names

OF_METHODS = tuple(name for name in variable_names() if name.startswith("strategies.methods."))
NEW = ("strategies.methods.annular.volume_fraction", "strategies.methods.annular.hours")


def test_keys_of_a_new_method_follow_all_others() -> None:
    assert later_names(OF_METHODS) == LATER_NAMES
    for order in ((*NEW, *OF_METHODS), (*OF_METHODS, *NEW)):
        assert later_names(order) == (*LATER_NAMES, *NEW)
    assert tuple(sorted((*LATER_NAMES, *NEW)))[: len(LATER_NAMES)] != LATER_NAMES


def test_every_later_name_is_a_key_once() -> None:
    assert len(set(LATER_NAMES)) == len(LATER_NAMES)
    assert set(LATER_NAMES) <= {*variable_names(), RESPONDS}
    assert set(OF_METHODS) <= set(LATER_NAMES)
