"""Fixtures for every test: a vocabulary small enough to count by hand."""

import pytest

from analytics.vocabulary import SOMETHING_ELSE, AccessGroup, AgeBand, Check, Suspect, Term, Vocabulary


@pytest.fixture(scope="session")
def tiny_vocabulary() -> Vocabulary:
    """Two families, two symptoms, four suspects and something else, six checks, three age bands."""
    suspects = [
        Suspect("plug_loose", "Plug loose", "plug", "loose", ("plug not seated",)),
        Suspect("switch_dirty", "Switch dirty", "switch", "dirty"),
        Suspect("coil_open", "Coil open", "coil", "open"),
        Suspect("fuse_blown", "Fuse blown", "fuse", "blown"),
        Suspect(SOMETHING_ELSE, "Something else", "", ""),
    ]
    checks = [
        _check("look_at_plug", "inspection", "Look at the plug", minutes=2, reveals={"plug_loose": 0.8}),
        _check("meter_coil", "measurement", "Meter the coil", minutes=5, reveals={"coil_open": 0.95}),
        _check("reseat_plug", "remedy", "Reseat the plug", minutes=3, cures={"plug_loose": 0.9}),
        _check("clean_switch", "remedy", "Clean the switch", minutes=6, cures={"switch_dirty": 0.85}),
        _check("replace_coil", "remedy", "Replace the coil", minutes=30, cures={"coil_open": 0.98}),
        _check("replace_fuse", "remedy", "Replace the fuse", minutes=4, cures={"fuse_blown": 0.9}),
    ]
    links = {
        ("stuck", "plug_loose"): "often",
        ("stuck", "switch_dirty"): "often",
        ("stuck", "coil_open"): "rarely",
        ("stuck", SOMETHING_ELSE): "rarely",
        ("dark", "fuse_blown"): "often",
        ("dark", "plug_loose"): "sometimes",
        ("dark", SOMETHING_ELSE): "rarely",
    }
    return Vocabulary(
        families=_terms(("crane", "Crane grab", ("grab machine",)), ("piano", "Player piano", ())),
        symptoms=_terms(("stuck", "Grab is stuck", ("jaws do not move",)), ("dark", "Cabinet is dark", ("no lights",))),
        components=_terms(("plug", "Plug", ()), ("switch", "Switch", ()), ("coil", "Coil", ()), ("fuse", "Fuse", ())),
        failure_modes=_terms(
            *(("loose", "Loose", ()), ("dirty", "Dirty", ("oxidised",)), ("open", "Open", ("open circuit",))),
            ("blown", "Blown", ()),
        ),
        suspects={suspect.code: suspect for suspect in suspects},
        access_groups={"outside": AccessGroup("outside", "Nothing opened", 0, 0)},
        hazards=_terms(("mains_present", "Mains inside", ())),
        checks={check.code: check for check in checks},
        links=links,
        age_bands=(AgeBand("young", 0, 29), AgeBand("middle", 30, 59), AgeBand("old", 60, 130)),
    )


def _terms(*terms: tuple[str, str, tuple[str, ...]]) -> dict[str, Term]:
    return {code: Term(code, name, aliases) for code, name, aliases in terms}


def _check(
    code: str,
    kind: str,
    name: str,
    *,
    minutes: float,
    reveals: dict[str, float] | None = None,
    cures: dict[str, float] | None = None,
) -> Check:
    return Check(code, name, kind, minutes, "outside", ("mains_present",), 0.03, reveals or {}, cures or {})
