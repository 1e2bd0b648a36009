"""Sentences of the review, made shorter."""

import re

# A full stop that ends a sentence, not one in a number or before a small letter.
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z'\d])")


def short_finding(finding: str) -> str:
    """The first sentence of a finding."""
    return _END.split(finding.strip(), maxsplit=1)[0]
