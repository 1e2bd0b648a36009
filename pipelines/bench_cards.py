"""The bench card: one printable page with machine, suspects in words, the plan to tick off, and cautions."""

from dataclasses import dataclass
from html import escape

import segno

from analytics.advice import Advice
from analytics.cautions import DEFER, RESIDUAL_LIMITS, cautions_for
from analytics.plan_steps import PlanStep
from analytics.session import Session
from analytics.vocabulary import Vocabulary
from pipelines.advice_in_words import HAND_ON, next_choice, safer_lines, say_plan
from pipelines.wording import minutes_phrase, odds_phrase

# What fits on one A4 page beside the cautions and room for notes.
SHOWN_SUSPECTS, SHOWN_STEPS = 6, 7
# Long words of an owner are cut rather than the plan or a caution; the session keeps them whole.
LONGEST_FACT = 240
CHARGE_NOTE = "Waiting is no proof that a capacitor is empty: measure. Published limits for machines built to them: {}."


@dataclass(frozen=True)
class CardStep:
    """One line to tick off: the check, its minutes in words, how to do it, and what follows if it finds the fault."""

    name: str
    minutes: str
    instruction: str
    if_found: str


@dataclass(frozen=True)
class BenchCard:
    """Everything on a card, in words; `scanned` is what the square code holds."""

    code: str
    scanned: str
    symptom: str
    facts: tuple[tuple[str, str], ...]
    suspects: tuple[tuple[str, str], ...]
    steps: tuple[CardStep, ...]
    plan: tuple[str, ...]
    cautions: tuple[str, ...]


def make_card(session: Session, advice: Advice, vocabulary: Vocabulary, *, address: str = "") -> BenchCard:
    """The card of a session as it stands.

    Parameters
    ----------
    address : of the dashboard, e.g. "http://192.0.2.7:8765", for the square code; without it the code holds the six
        letters alone
    """
    codes, steps = _main_line(advice, vocabulary)
    family = vocabulary.families[session.family].name if session.family else ""
    facts = (
        ("Workshop", session.shop),
        ("Machine", session.machine),
        ("Kind", family),
        ("Built", str(session.built_year or "")),
        ("Came in", session.opened_on.isoformat()),
        ("Owner says", session.complaint),
        ("Comes and goes", "yes" if session.is_intermittent else ""),
        ("Made so far", "; ".join(_made(session, vocabulary))),
    )
    suspects = advice.suspects[:SHOWN_SUSPECTS]
    return BenchCard(
        code=session.code,
        scanned=f"{address.rstrip('/')}/?session={session.code}" if address else session.code,
        symptom=vocabulary.symptoms[session.symptom].name,
        facts=tuple((name, _shorten(value)) for name, value in facts if value),
        suspects=tuple((odds.name, odds_phrase(odds.probability, odds.low, odds.high)) for odds in suspects),
        steps=steps,
        plan=(*(line.strip() for line in safer_lines(advice, vocabulary)), say_plan(advice.answer)),
        cautions=_cautions(codes, vocabulary),
    )


def card_html(card: BenchCard) -> str:
    """The card as one HTML page that needs nothing else: own style, black on white, A4."""
    return _PAGE.format(
        code=escape(card.code),
        symptom=escape(card.symptom),
        square=_square(card.scanned),
        facts="".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in card.facts),
        suspects="".join(f"<tr><td>{escape(name)}</td><td>{escape(odds)}</td></tr>" for name, odds in card.suspects),
        steps="".join(map(_step_html, card.steps)) or f"<li>{escape(HAND_ON)}</li>",
        plan=escape(" ".join(card.plan)),
        cautions="".join(f"<li>{escape(caution)}</li>" for caution in card.cautions),
        defer=escape(DEFER),
    )


def _main_line(advice: Advice, vocabulary: Vocabulary) -> tuple[list[str], tuple[CardStep, ...]]:
    """Codes and lines of the checks to make while nothing is found, the safer one first where there is one."""
    codes: list[str] = []
    lines: list[CardStep] = []
    if advice.safer is not None:
        codes.append(advice.next_check)
        lines.append(_card_step(advice.next_check, next_choice(advice).minutes, "", vocabulary))
    step: PlanStep | None = advice.answer.first_step
    while step is not None and step.check and len(lines) < SHOWN_STEPS:
        after = dict(step.after)
        found = after.get("fault_found")
        if step.check not in codes:
            codes.append(step.check)
            lines.append(_card_step(step.check, step.minutes, found.check if found else "", vocabulary))
        step = after.get("clear", after.get("not_cured"))
    return codes, tuple(lines)


def _card_step(check: str, minutes: float, if_found: str, vocabulary: Vocabulary) -> CardStep:
    then = f"If it finds the fault: {vocabulary.checks[if_found].name}." if if_found else ""
    return CardStep(vocabulary.checks[check].name, minutes_phrase(minutes), vocabulary.checks[check].instruction, then)


def _cautions(codes: list[str], vocabulary: Vocabulary) -> tuple[str, ...]:
    """Each caution of the checks once, and the published limits where a charge may be stored."""
    checks = [vocabulary.checks[code] for code in codes]
    told = list(dict.fromkeys(caution for check in checks for caution in cautions_for(check, vocabulary)))
    if any("stored_charge" in check.hazards for check in checks):
        limits = (f"{limit.volts:g} V within {limit.seconds:g} s, {limit.source}" for limit in RESIDUAL_LIMITS)
        told.append(CHARGE_NOTE.format("; ".join(limits)))
    return tuple(told)


def _made(session: Session, vocabulary: Vocabulary) -> list[str]:
    made = [event for event in session.events if event.about in vocabulary.checks]
    return [f"{vocabulary.checks[event.about].name}: {event.kind.replace('_', ' ')}" for event in made]


def _shorten(value: str) -> str:
    return value if len(value) <= LONGEST_FACT else f"{value[:LONGEST_FACT]}..."


def _square(scanned: str) -> str:
    """The square code (ISO/IEC 18004) as inline SVG."""
    return str(segno.make(scanned, error="m", micro=False).svg_inline(scale=3, border=2, omitsize=True))


def _step_html(step: CardStep) -> str:
    more = " ".join(filter(None, (step.instruction, step.if_found)))
    return (
        f'<li><span class="box"></span><b>{escape(step.name)}</b> ({escape(step.minutes)}) '
        f'<span class="took">took ____ min</span><br><small>{escape(more)}</small></li>'
    )


_PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>Bench card {code}</title>
<style>
@page {{ size: A4; margin: 10mm; }}
* {{ box-sizing: border-box; }}
body {{ font: 9pt/1.25 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 0 auto; }}
header {{ display: flex; justify-content: space-between; border-bottom: 2pt solid #000; }}
h1 {{ font-size: 15pt; margin: 0 0 2mm; }}
h2 {{ font-size: 10.5pt; margin: 2.5mm 0 .8mm; }}
.code {{ text-align: center; font: bold 14pt monospace; letter-spacing: 2pt; }}
.code svg {{ display: block; width: 24mm; height: 24mm; margin: 0 auto; }}
dl {{ display: grid; grid-template-columns: max-content auto; gap: 0 3mm; margin: 0 0 2mm; }}
dt {{ font-weight: bold; }} dd {{ margin: 0; overflow-wrap: anywhere; }}
table {{ border-collapse: collapse; width: 100%; }} td {{ border-bottom: .5pt solid #000; padding: .4mm 2mm .4mm 0; }}
ul, ol {{ margin: 0; padding: 0; list-style: none; }} li {{ margin: 0 0 1.2mm; break-inside: avoid; }}
.box {{ display: inline-block; width: 3.5mm; height: 3.5mm; border: 1pt solid #000; margin-right: 2mm; }}
.took {{ float: right; }} small {{ font-size: 8pt; line-height: 1.15; }} p {{ margin: 1.5mm 0; }}
.cautions {{ border: 1.5pt solid #000; padding: 1mm 2mm; font-size: 8pt; }} .cautions li {{ margin: 0 0 .6mm; }}
.notes {{ border: .5pt solid #000; min-height: 18mm; padding: 1mm 2mm; }}
</style>
</head>
<body>
<header><div><h1>{symptom}</h1><dl>{facts}</dl></div><div class="code">{square}{code}</div></header>
<h2>Suspects</h2>
<table>{suspects}</table>
<h2>Plan, from the top while nothing is found</h2>
<ol>{steps}</ol>
<p>{plan}</p>
<h2>Cautions</h2>
<div class="cautions"><ul>{cautions}</ul><b>{defer}</b></div>
<h2>Notes</h2>
<div class="notes"></div>
</body>
</html>
"""
