"""What a review of the shop is made of: one question, its answer in a sentence, and the table behind it."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True, eq=False)
class Part:
    """One figure of the review.

    Parameters
    ----------
    question : the title, a question
    finding : its answer in one plain sentence
    table : what stands behind the answer, raw counts beside estimates; units are in the column names
    notes : sentences on how to read it, what was left out and what is missing
    """

    question: str
    finding: str
    table: pd.DataFrame
    notes: tuple[str, ...] = ()
