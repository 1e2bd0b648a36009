"""A pool of thousands of shops: a hundred million tickets as Parquet by shop, counted to cells and fitted.

    python -m benchmarks.pool [--shops 5000] [--tickets 100000000] [--spark-python PATH]

Seconds and peak memory of each step, which runs in a process of its own, go to benchmarks/reports/pool.json and .md.
The tickets are drawn from an invented world; each shop departs from it in its own way. Five thousand shop effects are
too many for the model to carry: the fit takes the counts of all shops added up, so its odds are those of the pool.

With --spark-python (an interpreter that has pyspark, which is no part of the project) the same text of SQL runs on a
distributed engine, here in local mode, over a sample of the shops, and its counts are compared.
"""

import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter

import click
import duckdb
import numpy as np
import pandas as pd

from analytics.evidence import empty_evidence, make_evidence
from benchmarks.pool_tickets import write_pool
from pipelines.catalogue import read_vocabulary
from pipelines.fit_question import DEFAULT_SEED
from pipelines.prior_sources import read_wishes
from pipelines.settings import Settings, seed_folder
from pipelines.store import SQL_FOLDER

REPORTS = Path(__file__).parent / "reports"
QUERY = SQL_FOLDER / "count_pool_cells.sql"
SAMPLE, CELLS = 20, "cells.parquet"
type Report = dict[str, object]


@click.command()
@click.option("--shops", default=5_000, show_default=True)
@click.option("--tickets", default=100_000_000, show_default=True)
@click.option("--spark-python", default="", help="Interpreter with pyspark; without it that part is left out.")
@click.option("--step", default="", hidden=True, help="One step, in the folder named by --folder.")
@click.option("--folder", type=click.Path(path_type=Path), help="Where the Parquet goes (deleted afterwards).")
def main(shops: int, tickets: int, spark_python: str, step: str, folder: Path | None) -> None:
    """Write, count, fit and compare; print and keep the report."""
    if step and folder is not None:
        click.echo(json.dumps(STEPS[step](folder)))
        return
    with tempfile.TemporaryDirectory(prefix="faultodds-pool-", dir=folder) as name:
        place = Path(name)
        vocabulary = read_vocabulary(seed_folder() / "vocabulary")
        started = perf_counter()
        size = write_pool(place / "pool", vocabulary, shops=shops, tickets=tickets)
        report: Report = {
            "shops": shops,
            "tickets": tickets,
            "parquet_mebibytes": round(size / 2**20),
            "write_seconds": round(perf_counter() - started, 1),
            "count": _in_own_process("count", place),
            "fit": _in_own_process("fit", place),
            "spark": _ask_spark(place, spark_python) if spark_python else "not asked: no --spark-python was given",
        }
    REPORTS.mkdir(exist_ok=True)
    (REPORTS / "pool.json").write_text(json.dumps(report, indent=1) + "\n", encoding="utf-8")
    (REPORTS / "pool.md").write_text(say_report(report), encoding="utf-8")
    click.echo(say_report(report))


def count(place: Path) -> Report:
    """All shops to cells, by one query."""
    started = perf_counter()
    cells = count_shops(place / "pool" / "*" / "*.parquet")
    seconds = perf_counter() - started
    cells.to_parquet(place / CELLS, index=False)
    return {"seconds": round(seconds, 2), "cells": len(cells), "tickets": int(cells["weight"].sum()), **_peak()}


def count_shops(files: Path) -> pd.DataFrame:
    """Cells of the Parquet files of a pattern."""
    with duckdb.connect() as con:
        con.read_parquet(str(files), hive_partitioning=True).create_view("pooled_tickets")
        return con.execute(QUERY.read_text(encoding="utf-8")).df()


def fit(place: Path) -> Report:
    """The model of the added-up counts, without shop effects: by short runs, and by long ones where those do not hold,
    as a shop's own fit is.
    """
    from analytics.fit import fit_evidence
    from analytics.settled_fit import fit_settled
    from analytics.terms import Priors

    vocabulary = read_vocabulary(seed_folder() / "vocabulary")
    cells = pd.read_parquet(place / CELLS).assign(shop="", results="", others="")
    empty = empty_evidence()
    evidence = make_evidence(
        cells,
        check_counts=empty.check_counts,
        check_minutes=empty.check_minutes,
        companions=empty.companions,
        ticket_count=int(cells["weight"].sum()),
    )
    prior = read_wishes(Settings(place), vocabulary).link_prior
    started = perf_counter()
    for fit_all in (fit_settled, fit_evidence):
        posterior = fit_all(evidence, vocabulary, link_prior=prior, priors=Priors(), seed=DEFAULT_SEED)
        found = posterior.diagnostics
        if found.is_publishable:
            break
    return {
        "seconds": round(perf_counter() - started, 1),
        "diagnostics": found.sentence(),
        "way": fit_all.__name__,
        "max_rhat": round(found.max_rhat, 4),
        "min_ess": round(found.min_ess),
        "divergences": found.divergence_count,
        "publishable": found.is_publishable,
        **_peak(),
    }


STEPS: dict[str, Callable[[Path], Report]] = {"count": count, "fit": fit}


def _in_own_process(step: str, place: Path) -> Report:
    command = [sys.executable, "-m", "benchmarks.pool", "--step", step, "--folder", str(place)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return dict(json.loads(done.stdout.splitlines()[-1]))


def _ask_spark(place: Path, python: str) -> Report:
    """The same query text on the first shops, there and here."""
    sample = place / "sample"
    for folder in sorted((place / "pool").iterdir())[:SAMPLE]:
        shutil.copytree(folder, sample / folder.name)
    script, answer = Path(__file__).with_name("pool_spark.py"), place / "spark.csv"
    started = perf_counter()
    command = [python, str(script), str(sample), str(QUERY), str(answer)]
    subprocess.run(command, check=True, env={**os.environ, "SPARK_LOCAL_IP": "127.0.0.1"}, stdout=subprocess.DEVNULL)
    seconds = perf_counter() - started
    theirs = pd.read_csv(answer, keep_default_na=False)
    ours = count_shops(sample / "*" / "*.parquet")
    same = bool(np.array_equal(ours.to_numpy(dtype=object), theirs[list(ours.columns)].to_numpy(dtype=object)))
    return {"shops": SAMPLE, "seconds": round(seconds, 1), "cells": len(theirs),
            "tickets": int(theirs["weight"].sum()), "equal_counts": same}  # fmt: skip


def _peak() -> Report:
    return {"peak_mebibytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024}


def say_report(report: Report) -> str:
    """The figures for a person, as Markdown."""
    rows = [f"| {name} | {value} |" for part in ("count", "fit", "spark") for name, value in _flat(part, report[part])]
    return "\n".join([
        "# A pool of many shops",
        "",
        f"{report['tickets']:,} invented tickets of {report['shops']:,} shops, {report['parquet_mebibytes']:,} MiB of "
        f"Parquet by shop, written in {report['write_seconds']} s. Counted to cells by `pipelines/sql/{QUERY.name}`; "
        "the fit takes the counts of all shops added up, without an effect of each shop.",
        "",
        "| figure | value |",
        "|---|---|",
        *rows,
        "",
    ])  # fmt: skip


def _flat(part: str, told: object) -> list[tuple[str, object]]:
    if not isinstance(told, dict):
        return [(part, told)]
    return [(f"{part}: {name.replace('_', ' ')}", value) for name, value in told.items()]


if __name__ == "__main__":
    main()
