"""The JSON API asked as a form would ask it, and by a fuzzer that reads its description."""

import asyncio
import json
import re
import subprocess
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, get_args

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis import checks as fuzz_checks
from schemathesis.specs.openapi import checks as response_checks
from starlette.applications import Starlette

from analytics.posterior import Posterior
from analytics.vocabulary import CONFIRMATIONS, OUTCOMES, RESULTS, Vocabulary
from pipelines.access_tokens import make_token, revoke_token
from pipelines.api_app import PREFIX, make_server_app
from pipelines.api_bodies import ALLOWED_WORDS, TicketBody
from pipelines.api_gate import MOST_BYTES
from pipelines.bench_tickets import TicketRow
from pipelines.catalogue import write_vocabulary
from pipelines.history import read_tickets
from pipelines.intake import save_ticket
from pipelines.posteriors import FitRow, save_posterior
from pipelines.settings import Settings
from pipelines.store import last_ticket_order, reading
from pipelines.store_checks import check_store

pytestmark = pytest.mark.slow

TODAY = date(2026, 11, 25)
FUZZER_HOST = "testserver"
TICKET = {"shop": "Pier", "ticket_number": "form-1", "opened_on": "2026-03-31", "symptom": "Grab is stuck"}
REPAIR = {
    **{**TICKET, "family": "grab machine", "built_year": 1962, "suspects": ["Plug loose"], "also_absent": ["dark"]},
    **{"confirmation": "cured", "result": "fixed", "complaint": "says: 'it hums'\nthen; stops = not", "minutes": 12.5},
    "checks": [{"check": "look_at_plug", "outcome": "fault_found", "minutes": 2}],
}
CASE = {"symptom": "stuck", "family": "crane", "built_year": 1990}


@dataclass(frozen=True)
class Shop:
    """A data folder with a fit, one token a role, and the API over it."""

    settings: Settings
    tokens: dict[str, str]
    app: Starlette


@pytest.fixture
def shop(tmp_path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior) -> Shop:
    return open_shop(tmp_path, tiny_vocabulary, tiny_posterior, requests_per_minute=100)


def open_shop(folder: Path, vocabulary: Vocabulary, posterior: Posterior, *, requests_per_minute: int) -> Shop:
    settings = Settings(folder)
    write_vocabulary(vocabulary, folder / "vocabulary")
    first = TicketRow(shop="Harbour", ticket_number="1", opened_on=date(2020, 5, 1), symptom="dark")
    save_ticket(first, store_path=settings.store_path, vocabulary=vocabulary, today=TODAY)
    with reading(settings.store_path) as con:
        last = last_ticket_order(con)
    row = FitRow("hand-made", datetime.now(UTC), "", "", "", seconds=0.0, last_order=last)
    save_posterior(settings, posterior, row)
    tokens = {role: make_token(settings, name=role, role=role, today=TODAY) for role in ("technician", "lead", "club")}
    app = make_server_app(settings, hosts=("127.0.0.1", FUZZER_HOST), requests_per_minute=requests_per_minute)
    return Shop(settings, tokens, app)


def ask(shop: Shop, method: str, path: str, *, role: str = "technician", **sent: Any) -> httpx.Response:
    async def send() -> httpx.Response:
        # raise_app_exceptions stays on: whatever the API did not foresee fails the test
        async with httpx.AsyncClient(
            transport=httpx.ASGITransport(shop.app), base_url="http://127.0.0.1", timeout=60
        ) as client:
            headers = {"Authorization": f"Bearer {shop.tokens.get(role, role)}"} if role else {}
            return await client.request(method, PREFIX + path, headers=headers | sent.pop("headers", {}), **sent)

    # in a thread of its own: where browser tests ran before, this one still has their event loop
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, send()).result()


def refused(answer: httpx.Response, status: int) -> str:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/json"
    return str(answer.json()["problem"])


def test_suspects_are_those_of_the_fit_with_intervals_and_counts(shop: Shop) -> None:
    answer = ask(shop, "POST", "/suspects", json=CASE).json()
    assert {line["suspect"] for line in answer["suspects"]} == {
        *("plug_loose", "switch_dirty", "coil_open", "something_else"),
    }
    assert sum(line["probability"] for line in answer["suspects"]) == pytest.approx(1.0)
    assert all(line["low_90"] <= line["probability"] <= line["high_90"] for line in answer["suspects"])
    assert (answer["like_tickets_symptom"], answer["like_tickets_symptom_and_family"]) == (0, 0)


def test_a_check_made_changes_what_comes_next(shop: Shop) -> None:
    before = ask(shop, "POST", "/next-check", json=CASE).json()
    assert before["cautions"]
    made = {"check": before["name"], "outcome": "not_cured" if "reseat" in before["check"] else "clear"}
    after = ask(shop, "POST", "/next-check", json={**CASE, "checks": [made]}).json()
    assert after["check"] != before["check"]


def test_a_machine_that_came_back_brings_its_last_repair(shop: Shop) -> None:
    day = datetime.now(UTC).date() - timedelta(days=40)
    repair = {**REPAIR, "opened_on": day.isoformat(), "closed_on": day.isoformat(), "machine": "7", "result": "fixed"}
    assert ask(shop, "POST", "/tickets", json=repair).status_code == 201
    there = {**CASE, "shop": repair["shop"], "machine": "7"}
    told, other = (ask(shop, "POST", "/suspects", json={**there, "machine": name}).json() for name in ("7", "8"))
    assert told["came_back"].startswith("'Plug loose' was repaired 40 days ago")
    assert other["came_back"] == ""
    odds = [{line["suspect"]: line["probability"] for line in answer["suspects"]} for answer in (told, other)]
    assert odds[0] != pytest.approx(odds[1])
    assert "known by its workshop only" in refused(ask(shop, "POST", "/suspects", json={**CASE, "machine": "7"}), 422)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (
            {"checks": [{"check": "look_at_plug", "outcome": "cured"}]},
            "'look_at_plug' cannot end in 'cured'. Allowed: f",
        ),
        ({"also_absent": ["Grab is stuck"]}, "'stuck' is given as there and as not there"),
        ({"built_year": 2999}, "built_year 2999 is after this year"),
    ],
)
def test_a_case_that_cannot_be_is_refused(shop: Shop, more: dict[str, Any], says: str) -> None:
    assert says in refused(ask(shop, "POST", "/suspects", json={**CASE, **more}), 422)


def test_a_ticket_is_stored_once_and_a_different_one_is_refused(shop: Shop) -> None:
    first, again = (ask(shop, "POST", "/tickets", json=REPAIR) for _ in range(2))
    assert (first.status_code, first.json()["state"]) == (201, "stored")
    assert (again.status_code, again.json()["state"]) == (200, "duplicate")
    assert first.json()["suspects"] == ["plug_loose"]
    assert "says something else" in refused(ask(shop, "POST", "/tickets", json={**REPAIR, "minutes": 90}), 422)
    stored = read_tickets(shop.settings.store_path).set_index("ticket_number").loc["form-1"]
    assert stored["complaint"] == REPAIR["complaint"]
    assert (stored["family"], stored["suspects"], stored["minutes"]) == ("crane", "plug_loose", 12.5)


@pytest.mark.parametrize(
    ("field", "given", "says"),
    [
        ("opened_on", "2999-01-01", "is after today"),
        ("opened_on", "31/03/2026", "write it like 2024-03-31"),
        ("opened_on", "2026-02-30", "no.* day of the calendar|not a day of the calendar"),
        ("opened_on", 1774915200, "valid string"),
        ("symptom", "", "symptom"),
        ("symptom", "haunted by the sea", "No symptom is called 'haunted by the sea'"),
        ("suspects", ["plug_loose; coil_open"], "No suspect is called"),
        ("shop", "", "shop"),
        ("shop", "Pi\x00er", "control character"),
        ("complaint", "half a \ud83d", "unicode|half a character"),
        ("complaint", "x" * 4001, "4000"),
        ("minutes", 1e12, "10000"),
        ("minutes", "12", "valid number"),
        ("built_year", 2999, "not a year"),
        ("result", "exploded", "'exploded' was given"),
        ("colour", "red", "colour: 'red' was given"),
        ("checks", [{"check": "look_at_moon", "outcome": "clear"}], "No check is called 'look_at_moon'"),
    ],
)
def test_what_is_no_ticket_is_refused_in_a_sentence_and_not_stored(
    shop: Shop, field: str, given: object, says: str
) -> None:
    body = json.dumps({**TICKET, field: given}).encode()
    answer = ask(shop, "POST", "/tickets", content=body, headers={"content-type": "application/json"})
    assert re.search(says, refused(answer, 422))
    assert len(read_tickets(shop.settings.store_path)) == 1


@pytest.mark.parametrize(
    "body",
    [b"", b"null", b"[1", b"[" * 100_000, b'{"symptom": NaN}', b'{"a":' + b"1" * 5000 + b"}", b"\xff\xfe\x00", b'"x"'],
    ids=["nothing", "null", "half", "deep", "nan", "huge_number", "not_utf8", "text"],
)
def test_a_body_that_is_no_object_is_refused(shop: Shop, body: bytes) -> None:
    answer = ask(shop, "POST", "/suspects", content=body, headers={"content-type": "application/json"})
    assert refused(answer, 422)


def test_names_in_a_body_cannot_break_the_answer(shop: Shop) -> None:
    body = b'{"symptom": "stuck", "\\ud800\\u0000": 1}'
    assert refused(ask(shop, "POST", "/suspects", content=body, headers={"content-type": "application/json"}), 422)


def test_a_body_is_json_and_short(shop: Shop) -> None:
    plain = ask(shop, "POST", "/tickets", content=json.dumps(TICKET), headers={"content-type": "text/plain"})
    assert "Content-Type: application/json" in refused(plain, 415)
    long = b" " * MOST_BYTES + json.dumps(TICKET).encode()
    assert "longer than" in refused(
        ask(shop, "POST", "/tickets", content=long, headers={"content-type": "application/json"}), 413
    )

    async def in_pieces() -> Any:
        for at in range(0, len(long), 65_536):
            yield long[at : at + 65_536]

    unsaid = ask(shop, "POST", "/tickets", content=in_pieces(), headers={"content-type": "application/json"})
    assert "longer than" in refused(unsaid, 413)


def test_the_longest_ticket_that_is_allowed_fits(shop: Shop) -> None:
    body = json.dumps({**TICKET, "complaint": "\U0001f3b9" * 4000, "machine": "é" * 200})
    answer = ask(shop, "POST", "/tickets", content=body, headers={"content-type": "application/json"})
    assert answer.status_code == 201


@pytest.mark.parametrize(
    ("role", "path", "status"),
    [
        ("technician", "/review", 403),
        ("club", "/words", 403),
        ("club", "/quarantine", 403),
        ("lead", "/quarantine", 200),
        ("club", "/review/nothing", 422),
        ("", "/words", 401),
        ("guess", "/words", 401),
    ],
)
def test_a_token_opens_what_its_role_may_do(shop: Shop, role: str, path: str, status: int) -> None:
    assert ask(shop, "GET", path, role=role).status_code == status


def test_a_revoked_token_is_refused_at_once(shop: Shop) -> None:
    assert ask(shop, "GET", "/words").status_code == 200
    revoke_token(shop.settings, "technician")
    assert "not known, or was revoked" in refused(ask(shop, "GET", "/words"), 401)


def test_only_the_hash_of_a_token_is_kept_and_only_its_owner_reads_it(shop: Shop) -> None:
    path = shop.settings.data_folder / "access" / "tokens.json"
    assert not any(token in path.read_text() for token in shop.tokens.values())
    assert path.stat().st_mode & 0o777 == 0o600
    path.chmod(0o644)
    assert "can be read by other accounts" in refused(ask(shop, "GET", "/words"), 503)


def test_who_asks_too_often_is_told_how_long_to_wait(
    tmp_path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    shop = open_shop(tmp_path, tiny_vocabulary, tiny_posterior, requests_per_minute=3)
    assert [ask(shop, "GET", "/words").status_code for _ in range(4)] == [200, 200, 200, 429]
    limited = ask(shop, "GET", "/words")
    assert 1 <= int(limited.headers["retry-after"]) <= 60
    assert "Too many requests: 3 in a minute are allowed" in refused(limited, 429)
    assert ask(shop, "GET", "/words", role="lead").status_code == 200, "each token has its own count"


def test_guessing_tokens_is_slowed_down_and_costs_the_guessed_one_nothing(shop: Shop) -> None:
    answers = [ask(shop, "GET", "/words", role=f"guess-{at}").status_code for at in range(21)]
    assert answers == [401] * 20 + [429]


def test_a_foreign_host_name_is_refused(shop: Shop) -> None:
    assert ask(shop, "GET", "/words", headers={"host": "elsewhere.example"}).status_code == 400


def test_the_description_names_no_outside_host_and_there_is_no_page_that_loads_from_one(shop: Shop) -> None:
    described = ask(shop, "GET", "/openapi.json", role="")
    assert described.status_code == 200
    assert "://" not in described.text
    assert [ask(shop, "GET", path).status_code for path in ("/docs", "/redoc")] == [404, 404]


def test_words_of_the_description_are_those_of_the_vocabulary() -> None:
    for told, ours in ALLOWED_WORDS.values():
        assert set(get_args(told)) - {""} == set(ours)
    assert set(TicketBody.model_fields) == {*TicketRow.__dataclass_fields__}


def test_the_api_never_loads_the_sampler(shop: Shop) -> None:
    # a process of its own: other tests of this one may have loaded it
    script = (
        "import sys; from pathlib import Path; from datetime import date\n"
        "from pipelines import api_answers, api_app, api_bodies; from pipelines.settings import Settings\n"
        f"settings = Settings(Path({str(shop.settings.data_folder)!r})); api_app.make_server_app(settings)\n"
        "api_answers.answer_next_check(settings, api_bodies.CaseBody(symptom='stuck'), today=date(2026, 11, 25))\n"
        "print(sorted({'pymc', 'nutpie', 'pytensor', 'arviz'} & set(sys.modules)))"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=120)
    assert told.stdout.strip() == "[]"


FUZZ = hypothesis_settings(
    max_examples=40, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
HELD = [
    *(fuzz_checks.not_a_server_error, response_checks.status_code_conformance),
    *(response_checks.content_type_conformance, response_checks.response_schema_conformance),
    *(response_checks.response_headers_conformance, response_checks.negative_data_rejection),
]


@pytest.mark.slow
@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["fitting", "unfitting"])
# the fuzzer drives ASGI applications through a client that Starlette is about to rename
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::starlette.exceptions.StarletteDeprecationWarning")
def test_a_fuzzer_finds_no_failure_and_no_answer_that_is_not_described(
    tmp_path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior, mode: GenerationMode
) -> None:
    shop = open_shop(tmp_path, tiny_vocabulary, tiny_posterior, requests_per_minute=1_000_000)
    schema = schemathesis.openapi.from_asgi(f"{PREFIX}/openapi.json", shop.app)
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) == 7
    tried = [fuzz(operation, mode, shop.tokens["lead"]) for operation in operations]
    assert sum(tried) > 7 if mode is GenerationMode.POSITIVE else sum(tried) > 100
    assert check_store(shop.settings.store_path, tiny_vocabulary).empty


def fuzz(operation: Any, mode: GenerationMode, token: str) -> int:
    """Number of requests sent; a check that does not hold raises."""
    sent = 0

    @FUZZ
    @given(case=operation.as_strategy(generation_mode=mode))
    def send(case: Any) -> None:
        nonlocal sent
        sent += 1
        case.call_and_validate(headers={"Authorization": f"Bearer {token}"}, checks=HELD)

    try:
        send()
    except Unsatisfiable:
        # nothing unfitting can be sent to a route without parameters
        return sent
    return sent


WORD = st.sampled_from(["", "Pier", "=1+1", "not: dark", "a; b", "é", "plug_loose"]) | st.text(max_size=12)
SYMPTOM = st.sampled_from(["stuck", "dark", "no lights", "Grab is stuk"]) | WORD
SUSPECT = st.sampled_from(["plug_loose", "coil open", "Switch dirty", "something_else"]) | WORD
CHECK = st.sampled_from(["look_at_plug", "meter_coil", "reseat_plug", "replace_fuse"]) | WORD
FAMILY = st.sampled_from(["", "crane", "Player piano"]) | WORD
DAY = st.dates(date(2000, 1, 1), TODAY).map(date.isoformat) | st.sampled_from(
    ["1700-01-01", "2100-01-01", "0000-00-00"]
)
MINUTES = st.floats(0, 10_000) | st.integers(0, 500) | st.none() | st.floats()
SHOP = st.sampled_from(["Pier", "Harbour", "=1+1"]) | WORD
CHECKS = st.lists(
    st.fixed_dictionaries(
        {"check": CHECK, "outcome": st.sampled_from([*OUTCOMES, "burnt"])},
        optional={"minutes": MINUTES},
    ),
    max_size=4,
)
SAID = {
    **{"family": FAMILY, "shop": SHOP, "built_year": st.integers(1800, 2100) | st.none(), "checks": CHECKS},
    **{
        "also_present": st.lists(SYMPTOM, max_size=2),
        "also_absent": st.lists(SYMPTOM, max_size=2),
        "complaint": st.text(max_size=40),
    },
}
CASES = st.fixed_dictionaries({"symptom": SYMPTOM}, optional=SAID)
TICKETS = st.fixed_dictionaries(
    {"shop": SHOP, "ticket_number": st.integers(1, 10**6).map(str) | WORD, "opened_on": DAY, "symptom": SYMPTOM},
    optional={
        **{name: strategy for name, strategy in SAID.items() if name != "shop"},
        **{
            "closed_on": st.just("2026-11-25") | DAY,
            "machine": WORD,
            "suspects": st.lists(SUSPECT, max_size=3),
            "minutes": MINUTES,
        },
        **{"result": st.sampled_from(["", *RESULTS, "x"]), "confirmation": st.sampled_from(["", *CONFIRMATIONS])},
    },
)


@pytest.mark.slow
def test_bodies_made_of_real_words_and_nonsense_are_answered_or_refused(
    tmp_path: Path, tiny_vocabulary: Vocabulary, tiny_posterior: Posterior
) -> None:
    shop = open_shop(tmp_path, tiny_vocabulary, tiny_posterior, requests_per_minute=1_000_000)
    statuses: Counter[tuple[str, int]] = Counter()

    @hypothesis_settings(FUZZ, max_examples=150)
    @given(case=CASES, ticket=TICKETS)
    def send(case: dict[str, Any], ticket: dict[str, Any]) -> None:
        for path, body in (("/suspects", case), ("/next-check", case), ("/tickets", ticket)):
            answer = ask(shop, "POST", path, content=json.dumps(body), headers={"content-type": "application/json"})
            assert answer.status_code in (200, 201, 422), answer.text
            statuses[path, answer.status_code] += 1

    send()
    assert statuses["/next-check", 200] > 10
    assert statuses["/tickets", 201] > 5
    assert check_store(shop.settings.store_path, tiny_vocabulary).empty
