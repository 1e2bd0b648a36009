"""Owners' words as evidence, tried on texts whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.linear_model import LogisticRegression

from analytics.case import Case
from analytics.complaint import TextModel, symptom_odds, terms_of, text_log_likelihood, words_that_moved
from analytics.complaint_training import MIN_TICKETS, Complaints, train_text_model
from analytics.posterior import Posterior
from analytics.scoring import calibration_bins, log_loss
from analytics.suspects import belief
from analytics.vocabulary import Vocabulary
from analytics.word_weights import TextBlock, fit_weights, learn_weights

STUCK = ("plug_loose", "switch_dirty", "coil_open", "something_else")
DARK = ("fuse_blown", "plug_loose", "something_else")
LISTS = {"stuck": STUCK, "dark": DARK}
# What owners say of a suspect, in the languages of a border town; "again" and "help" say nothing.
SAYINGS = {
    "plug_loose": ("wackelt man am Stecker, geht es", "works when I wiggle it", "ça marche si je le secoue 🙏"),
    "switch_dirty": ("knistert beim Drücken", "only after pressing hard", "il faut appuyer très fort"),
    "coil_open": ("es riecht verbrannt", "smelt of burning", "ça sent le brûlé 🔥"),
    "fuse_blown": ("es hat geknallt", "went with a bang", "un éclair et plus rien"),
    "something_else": ("weiß nicht", "no idea", "aucune idée"),
}
TOLD_OF_SYMPTOM = {"stuck": ("the grab stays put", "Greifer klemmt"), "dark": ("all lamps off", "kein Licht")}
# Share of owners whose hint is right; the others hint at any suspect of the list.
RIGHT_SHARE = 0.6


def simulate(rng: np.random.Generator, count: int) -> Complaints:
    """Tickets whose suspect has the odds of their own `log_belief`, and words that depend on the suspect alone."""
    texts, symptoms, suspects, beliefs = [], [], [], []
    for _ in range(count):
        symptom = str(rng.choice(["stuck", "dark"]))
        listed = LISTS[symptom]
        chance = rng.dirichlet(np.full(len(listed), 2.0))
        true = str(rng.choice(listed, p=chance))
        hinted = true if rng.random() < RIGHT_SHARE else str(rng.choice(listed))
        texts.append(f"{rng.choice(TOLD_OF_SYMPTOM[symptom])}. {rng.choice(SAYINGS[hinted])}, again, help!")
        symptoms.append(symptom)
        suspects.append((true,))
        beliefs.append(np.log(chance))
    return Complaints(texts, symptoms, suspects, beliefs)


@pytest.fixture(scope="module")
def model(tiny_vocabulary: Vocabulary) -> TextModel:
    return train_text_model(simulate(np.random.default_rng(1), 800), tiny_vocabulary)


def test_words_better_the_belief_on_new_tickets_and_stay_calibrated(model: TextModel) -> None:
    new = simulate(np.random.default_rng(2), 3000)
    at = [at for at, symptom in enumerate(new.symptoms) if symptom == "stuck"]
    texts, truth = [new.texts[a] for a in at], np.array([STUCK.index(new.suspects[a][0]) for a in at])
    before = np.exp([new.log_belief[a] for a in at])
    said = normalised(before * np.exp([text_log_likelihood(model, text, STUCK) for text in texts]))
    # Bayes' rule with the stated truth is the most that words can give: a hint at the suspect is 0.6 + 0.4 / 4 likely,
    # at any other one 0.4 / 4.
    hinted = np.array([[said_of(code, text) for code in STUCK] for text in texts])
    best = normalised(before * np.where(hinted, RIGHT_SHARE + (1 - RIGHT_SHARE) / 4, (1 - RIGHT_SHARE) / 4))
    gain, possible = (log_loss(before, truth) - log_loss(after, truth) for after in (said, best))
    assert 0.9 * possible < gain <= possible + 0.01
    bins = calibration_bins(said.ravel(), (np.arange(4) == truth[:, None]).astype(float).ravel())
    # 90 % intervals of ten bins: at most three miss by chance (binomial, 98.7 %).
    assert ((bins.forecast_mean < bins.low) | (bins.forecast_mean > bins.high)).sum() <= 3


def normalised(masses: np.ndarray) -> np.ndarray:
    return masses / masses.sum(1, keepdims=True)


def said_of(suspect: str, text: str) -> bool:
    return any(saying in text for saying in SAYINGS[suspect])


def texts_of(complaints: Complaints, symptom: str) -> list[str]:
    return [text for text, code in zip(complaints.texts, complaints.symptoms, strict=True) if code == symptom]


def test_the_gain_it_states_is_the_gain_it_has(model: TextModel) -> None:
    new = simulate(np.random.default_rng(3), 3000)
    gains = []
    for text, symptom, (true,), log_belief in zip(new.texts, new.symptoms, new.suspects, new.log_belief, strict=True):
        listed = LISTS[symptom]
        odds = np.exp(log_belief + text_log_likelihood(model, text, listed))
        at = listed.index(true)
        gains.append(np.log(odds[at] / odds.sum()) - log_belief[at])
    # 800 tickets place the stated gain to about 0.03 nats (sd of one gain about 0.8).
    assert model.gain == pytest.approx(np.mean(gains), abs=0.08)


def test_words_without_meaning_are_given_next_to_no_weight(tiny_vocabulary: Vocabulary) -> None:
    lessons = simulate(np.random.default_rng(4), 400)
    shuffled = list(np.random.default_rng(5).permutation(texts_of(lessons, "stuck")))
    kept = [at for at, symptom in enumerate(lessons.symptoms) if symptom == "stuck"]
    model = train_text_model(
        Complaints(
            shuffled, ["stuck"] * len(kept), [lessons.suspects[a] for a in kept], [lessons.log_belief[a] for a in kept]
        ),
        tiny_vocabulary,
    )
    # A factor of 1.5 either way is nothing to send anybody astray.
    assert max(abs(text_log_likelihood(model, text, STUCK)).max() for text in shuffled) < np.log(1.5)


def test_weights_with_even_offsets_are_those_of_logistic_regression() -> None:
    """Source: scikit-learn's multinomial regression without intercept, C = reach squared."""
    lessons = simulate(np.random.default_rng(6), 300)
    texts = texts_of(lessons, "dark")
    truth = np.array([DARK.index(s[0]) for s, c in zip(lessons.suspects, lessons.symptoms, strict=True) if c == "dark"])
    rows = TfidfVectorizer(analyzer=terms_of, lowercase=False).fit_transform(texts)
    block = TextBlock(rows, np.arange(3), np.eye(3)[truth], np.zeros((len(texts), 3)), np.zeros(len(texts)))
    ours = fit_weights([block], (3, rows.shape[1]), reach=2.0, start=np.zeros((3, rows.shape[1])))
    theirs = LogisticRegression(C=4.0, fit_intercept=False, tol=1e-8, max_iter=1000).fit(rows, truth)
    np.testing.assert_allclose(ours, theirs.coef_, atol=0.01)


def test_reach_and_temperature_are_placed_by_a_part_of_many_texts(monkeypatch: pytest.MonkeyPatch) -> None:
    lessons = simulate(np.random.default_rng(9), 2400)
    at = [at for at, symptom in enumerate(lessons.symptoms) if symptom == "dark"][:1000]
    rows = TfidfVectorizer(analyzer=terms_of, lowercase=False).fit_transform([lessons.texts[a] for a in at])
    target = np.array([[code == lessons.suspects[a][0] for code in DARK] for a in at], dtype=float)
    offset = np.array([lessons.log_belief[a] for a in at])
    block = TextBlock(rows, np.arange(3), target, offset, np.arange(len(at)) % 5)
    every = learn_weights([block], (3, rows.shape[1]))
    monkeypatch.setattr("analytics.word_weights.JUDGED_TEXTS", 200)
    part = learn_weights([block], (3, rows.shape[1]))
    # Every fifth text, in step with the five folds: learnt from fewer texts, words gain less, but not nothing.
    assert 0.5 * every.gain < part.gain < every.gain + 0.15


@given(
    st.text(max_size=80)
    | st.sampled_from([*sum(SAYINGS.values(), ()), "", "🔥🙏", "  \n", "Für Öl: ß œ ç", "电源 坏了"])
)
@settings(derandomize=True, deadline=None)
def test_words_that_moved_sum_to_the_log_likelihood_whatever_the_language(model: TextModel, text: str) -> None:
    told = text_log_likelihood(model, text, STUCK)
    assert np.isfinite(told).all()
    assert told.sum() == pytest.approx(0.0, abs=1e-9)
    for at, suspect in enumerate(STUCK):
        words = words_that_moved(model, text, suspect, suspects=STUCK)
        assert sum(log_odds for _, log_odds in words) == pytest.approx(told[at], abs=1e-9)
    assert sum(odds.probability for odds in symptom_odds(model, text)) == pytest.approx(1.0)


def test_accents_capitals_and_apostrophes_make_no_other_word() -> None:
    assert terms_of("ÇA SENT le brûlé 🔥") == terms_of("ca sent LE brule")
    assert terms_of("It won't") == ["it", "wont", "it wont"]
    assert terms_of("l’appareil") == ["appareil"]
    assert terms_of("🔥 !? \n") == []


def test_what_was_seen_with_a_suspect_speaks_for_it(model: TextModel) -> None:
    told = dict(zip(STUCK, text_log_likelihood(model, "Riecht VERBRANNT", STUCK), strict=True))
    assert max(told, key=lambda code: told[code]) == "coil_open"
    word, log_odds = words_that_moved(model, "Riecht VERBRANNT", "coil_open", suspects=STUCK)[0]
    assert word in ("riecht", "verbrannt", "riecht verbrannt")
    assert log_odds > 0


def test_few_tickets_are_no_evidence_about_suspects_yet(tiny_vocabulary: Vocabulary) -> None:
    model = train_text_model(simulate(np.random.default_rng(7), MIN_TICKETS - 1), tiny_vocabulary)
    assert not text_log_likelihood(model, "smelt of burning", STUCK).any()
    assert words_that_moved(model, "smelt of burning", "coil_open", suspects=STUCK) == ()


def test_without_any_ticket_the_vocabulary_names_the_symptom(tiny_vocabulary: Vocabulary) -> None:
    model = train_text_model(Complaints([], [], [], []), tiny_vocabulary)
    assert symptom_odds(model, "its jaws do not move!")[0].symptom == "stuck"
    assert symptom_odds(model, "there are no LIGHTS")[0].symptom == "dark"
    assert [odds.probability for odds in symptom_odds(model, "")] == [0.5, 0.5]


def test_two_confirmed_suspects_share_the_ticket_and_unlisted_ones_count_as_something_else(
    tiny_vocabulary: Vocabulary,
) -> None:
    even = np.log(np.full(4, 0.25))
    both = [("plug_loose", "coil_open")] * 60 + [("fuse_blown",)] * 60
    texts = ["rattles badly"] * 60 + ["glows in the dark"] * 60
    # neighbours must not all be alike, or a fold would never see them
    order = np.random.default_rng(8).permutation(120)
    lessons = Complaints([texts[a] for a in order], ["stuck"] * 120, [both[a] for a in order], [even] * 120)
    model = train_text_model(lessons, tiny_vocabulary)
    rattles, glows = (text_log_likelihood(model, text, STUCK) for text in ("rattles badly", "glows in the dark"))
    assert rattles[0] == pytest.approx(rattles[2], abs=1e-6)
    assert STUCK[int(glows.argmax())] == "something_else"


def test_belief_without_words_or_without_a_text_model_is_what_it_was(
    model: TextModel, tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    case = Case("stuck", "crane", "Pier", 40)
    plain = belief(tiny_posterior, case, tiny_vocabulary)
    with_text = replace(tiny_posterior, text=model)
    for posterior, complaint in ((with_text, ""), (with_text, "🔥"), (tiny_posterior, "smelt of burning")):
        found = belief(posterior, replace(case, complaint=complaint), tiny_vocabulary)
        np.testing.assert_array_equal(found.mass, plain.mass)


def test_belief_is_multiplied_by_the_likelihood_of_the_words(
    model: TextModel, tiny_posterior: Posterior, tiny_vocabulary: Vocabulary
) -> None:
    case = Case("stuck", complaint="smelt of burning")
    plain = belief(tiny_posterior, replace(case, complaint=""), tiny_vocabulary)
    found = belief(replace(tiny_posterior, text=model), case, tiny_vocabulary)
    expected = plain.mean * np.exp(text_log_likelihood(model, case.complaint, plain.suspects))
    np.testing.assert_allclose(found.mean, expected / expected.sum())


def test_a_suspect_newer_than_the_words_is_spoken_for_by_none(model: TextModel) -> None:
    told = text_log_likelihood(model, "smelt of burning", (*STUCK, "belt_worn"))
    without = text_log_likelihood(model, "smelt of burning", STUCK)
    # Against each other the known ones stand as before.
    np.testing.assert_allclose(told[:4] - told[0], without - without[0])
