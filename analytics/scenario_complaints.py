"""What the owner of a simulated machine says: the symptom in plain words, and now and then a hint at the suspect."""

from collections.abc import Mapping, Sequence

import numpy as np

from analytics.vocabulary import Vocabulary

# Belong to the invented world.
HINT_SHARE = 0.4  # complaints that hold a hint
TRUE_HINT_SHARE = 0.8  # hints at the true suspect; the others point to any suspect of the list


def complain(
    vocabulary: Vocabulary,
    phrases: Mapping[str, Sequence[str]],
    rng: np.random.Generator,
    *,
    symptom: int,
    slot: int,
) -> str:
    """Owner's words for the symptom at this position whose true suspect is `slot` of its list.

    `phrases` is symptom or suspect -> ways to say it; a suspect without any gives no hint, a symptom its name.
    """
    code, suspects = list(vocabulary.suspects_by_symptom.items())[symptom]
    words = _choose(phrases.get(code, (vocabulary.symptoms[code].name,)), rng)
    if rng.random() >= HINT_SHARE:
        return words
    hinted = suspects[slot] if rng.random() < TRUE_HINT_SHARE else _choose(suspects, rng)
    hint = _choose(phrases.get(hinted, ("",)), rng)
    return f"{words.rstrip('.')}. {hint[:1].upper()}{hint[1:]}" if hint else words


def _choose(items: Sequence[str], rng: np.random.Generator) -> str:
    return items[int(rng.integers(len(items)))]
