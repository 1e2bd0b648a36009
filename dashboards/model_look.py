"""What the parts of the Model page share: the palette of the theme, and titles that fit a telephone."""

import textwrap
from collections.abc import Sequence

import streamlit as st

from dashboards.charts_look import DARK, LIGHT, Palette

# Letters of a title that fit a telephone.
LINE_LETTERS = 36


def palette() -> Palette:
    """Colours of the theme the page is shown in."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def fold(lines: Sequence[str]) -> list[str]:
    """Lines of a title, long ones folded."""
    return [part for line in lines for part in textwrap.wrap(line, LINE_LETTERS)]
