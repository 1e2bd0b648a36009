"""Rules of thumb and handbook ratios: what is read, and what is refused with its line."""

from collections import defaultdict
from pathlib import Path

import pytest

from analytics.elicitation import Rule
from analytics.errors import InputError
from analytics.vocabulary import Vocabulary
from pipelines.catalogue import read_vocabulary
from pipelines.readers import read_raw
from pipelines.rules import RULE_COLUMNS, read_ratios, read_rules

SEED_DATA = Path(__file__).parents[2] / "seed_data"
HANDBOOK = SEED_DATA / "handbook_ratios.csv"


@pytest.fixture(scope="module")
def vocabulary() -> Vocabulary:
    return read_vocabulary(SEED_DATA / "vocabulary")


def write(folder: Path, *rows: str, header: str = ",".join(RULE_COLUMNS)) -> Path:
    path = folder / "rules.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return path


def test_rules_are_read_as_shares_with_blanks_as_nothing_said(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = write(
        tmp_path,
        "dead_machine,mains_fuse_blown,4,1.5,7,,old hand",
        "dead_machine,interlock_misadjusted,3,,,10,old hand",
    )
    assert read_rules(path, vocabulary) == (
        Rule("dead_machine", "mains_fuse_blown", 0.4, 0.15, 0.7, None, "old hand"),
        Rule("dead_machine", "interlock_misadjusted", 0.3, None, None, 10.0, "old hand"),
    )


def test_every_bad_row_is_named_with_its_line_and_what_to_do(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = write(
        tmp_path,
        "dead_machine,mains_fuse_blown,8,5,9.5,10,old hand",
        "no_such_symptom,mains_fuse_blown,8,5,9.5,10,old hand",
        "dead_machine,stylus_worn,8,5,9.5,10,old hand",
        "dead_machine,mains_lead_open,eight,5,9.5,10,old hand",
        "dead_machine,mains_lead_open,8,7.5,8.5,10,old hand",
        "dead_machine,mains_fuse_blown,1,,,10,old hand",
        "dead_machine,mains_switch_worn,2,,,5,old hand",
        "dead_machine,mains_switch_worn,9,,,5,young hand",
    )
    with pytest.raises(InputError) as refusal:
        read_rules(path, vocabulary)
    lines = str(refusal.value).split("\n")
    for line, words in zip(
        lines,
        [
            "line 3: No symptom is called 'no_such_symptom'",
            "line 4: 'stylus_worn' is no suspect of 'dead_machine'",
            "line 5: about_in_ten is 'eight'. Allowed: a number from 0 to 10",
            "line 6: About 8 in 10, surely between 7.5 and 8.5, is worth about 250 tickets, not 10.",
            "line 7: a rule of old hand for 'dead_machine' and 'mains_fuse_blown' is already in line 2",
            "line 8: the rules of old hand for 'dead_machine' add up to 11 in 10",
        ],
        strict=True,
    ):
        assert line.startswith(f"rules.csv, {words}")


def test_a_table_without_the_right_columns_is_refused(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = write(tmp_path, "dead_machine,mains_fuse_blown,8", header="symptom,suspect,odds")
    with pytest.raises(InputError, match=r"'odds'.*It needs the columns symptom, suspect, about_in_ten"):
        read_rules(path, vocabulary)


def test_a_row_with_a_lost_comma_is_refused(tmp_path: Path, vocabulary: Vocabulary) -> None:
    path = write(tmp_path, "dead_machine,mains_fuse_blown,8,5,9.5,10,Smith, senior")
    with pytest.raises(InputError, match="line 2: it has 8 cells"):
        read_rules(path, vocabulary)


def test_shipped_handbook_ratios_sum_to_one_in_every_kind(vocabulary: Vocabulary) -> None:
    total: dict[str, float] = defaultdict(float)
    for _, cells in read_raw(HANDBOOK).all_cells():
        total[cells["component_kind"]] += float(cells["ratio"])
        assert cells["source"]
    assert dict(total) == pytest.approx(dict.fromkeys(total, 1.0), abs=1e-9)
    shares: dict[str, float] = defaultdict(float)
    for component, _, ratio in read_ratios(HANDBOOK, vocabulary):
        shares[component] += ratio
    # A component belongs to one kind only: else its shares would sum to more than 1.
    assert max(shares.values()) < 1 + 1e-9


def test_ratios_reach_our_components_and_equal_modes_add_up(vocabulary: Vocabulary) -> None:
    ratios = {(component, mode): ratio for component, mode, ratio in read_ratios(HANDBOOK, vocabulary)}
    # "Fails to trip" against "spurious trip": a relay that does nothing is commoner than one that acts by itself.
    assert ratios["hold_relay_contacts", "dirty"] > ratios["hold_relay_contacts", "misadjusted"]
    # Open, electrolyte leak and loss of capacitance are all a reservoir that has dried out.
    assert ratios["reservoir", "dried_out"] == pytest.approx(0.35 + 0.10 + 0.02)


def test_ratios_that_do_not_sum_to_one_or_name_unknown_parts_are_refused(
    tmp_path: Path, vocabulary: Vocabulary
) -> None:
    header = "component_kind,failure_mode,ratio,component,our_failure_mode,source"
    path = write(tmp_path, "lamp,no light,0.9,lamp,blown,mine", header=header)
    with pytest.raises(InputError, match=r"rules.csv: the ratios of 'lamp' sum to 0\.9, not to 1"):
        read_ratios(path, vocabulary)
    path = write(tmp_path, "lamp,no light,1,lump,blown,mine", "lamp,dim,2,lamp,blown,mine", header=header)
    with pytest.raises(InputError, match=r"line 2: component 'lump'.*\n.*line 3: ratio is '2'"):
        read_ratios(path, vocabulary)
