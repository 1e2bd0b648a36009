"""What keeps a row from being a ticket: sentences by line, each series named by its reason code."""

import pandas as pd

from pipelines.column_maps import REQUIRED_FIELDS


def find_missing(texts: pd.DataFrame) -> pd.Series:
    """Sentences of rows where a required cell is blank."""
    sentences = pd.Series("", index=texts.index, dtype="str")
    for field in REQUIRED_FIELDS:
        sentences[texts[field] == ""] += f" The cell '{field}' is blank; every ticket needs it. Fill it in."
    sentences[texts["shop"] == ""] += (
        " No shop is given. Fill in the column shop, or name the shop when reading the file."
    )
    return name_problem(sentences, "required_field_missing")


def find_check_problems(checks: pd.DataFrame, lines: pd.Index) -> list[pd.Series]:
    """Sentences of rows whose checks are unknown or have no possible outcome or minutes."""
    told = []
    for column, reason_code in (("code_sentence", "unknown_check"), ("value_sentence", "bad_check")):
        bad = checks[checks[column] != ""]
        sentences = bad.groupby("row")[column].agg(lambda texts: " ".join(dict.fromkeys(texts)))
        told.append(name_problem(sentences.set_axis(lines[sentences.index.to_numpy(dtype=int)]), reason_code))
    return told


def find_contradictions(values: pd.DataFrame, texts: pd.DataFrame) -> list[pd.Series]:
    """Sentences of rows whose cells cannot all be true."""
    opened, closed, built = values["opened_on"], values["closed_on"], values["built_year"]
    closed_early = closed < opened
    built_late = (built > opened.dt.year).fillna(value=False).astype(bool)
    nothing_but_something = (values["result"] == "no_fault_found") & (values["suspects"].map(len) > 0)
    return [
        name_problem(
            "Closed on " + texts["closed_on"] + ", before it was opened on " + texts["opened_on"] + ". Correct a date.",
            "closed_before_opened",
            closed_early,
        ),
        name_problem(
            "Built in " + texts["built_year"] + ", after it was opened on " + texts["opened_on"] + ". Correct one.",
            "built_after_opened",
            built_late,
        ),
        name_problem(
            "The result is no_fault_found, yet '" + texts["suspect"] + "' is written as suspect. Blank one of them.",
            "contradiction",
            nothing_but_something,
        ),
    ]


def name_problem(sentences: pd.Series, reason_code: str, where: pd.Series | None = None) -> pd.Series:
    """Sentences of the rows that have one, named by their reason code."""
    chosen = sentences[(sentences != "") if where is None else where]
    return chosen.astype("str").str.strip().rename(reason_code)


def gather_problems(problems: list[pd.Series], lines: pd.Index) -> pd.DataFrame:
    """One row a bad line: its first reason code and all its sentences."""
    frames = [
        pd.DataFrame({"line": sentences.index, "reason_code": sentences.name, "reason": sentences.to_numpy()})
        for sentences in problems
        if len(sentences)
    ]
    if not frames:
        return pd.DataFrame({"line": lines[:0], "reason_code": pd.array([], "str"), "reason": pd.array([], "str")})
    by_line = pd.concat(frames, ignore_index=True).groupby("line", sort=True)
    return by_line.agg(reason_code=("reason_code", "first"), reason=("reason", " ".join)).reset_index()
