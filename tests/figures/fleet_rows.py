"""Rows of very many made-up proofs, made by columns: as fast as a machine can, the same for the same seed.

A block is a million runs or fewer: looms of forty families with 200 wires each, whose ends are fixed; a
twentieth of the runs of looms without a serial. A loom's proofs come in episodes, over which the same faults
stand; three findings a run. What each proof adds to the sums is worked out here by window functions over
findings and places: by another road than `loomproof.records.counting` goes, which nothing here calls.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import numpy as np

from loomproof.fleet.layout import SCHEMA
from loomproof.fleet.parquet import AT_ONCE

FAMILIES, WIRES, PLUGS, WAYS = 40, 200, 12, 40
BENCHES, PERSONS = 30, 60
SPAN_S = 3 * 365 * 86_400
KINDS = ("open", "short", "miswire", "high_resistance", "leakage")
CAUSES = ("crimp", "leak", "added_part", "worn", "chafed")

_WORDS = """
CREATE TABLE runs AS SELECT
  id AS run_id, 'run-' || id AS run, if(correction, 'correction', 'proof') AS kind,
  'Loom ' || family AS loom, if(loom < 0, '', 'S-' || loom) AS serial, 'd' AS digest,
  if(bench % 10 = 0, 'simulated bench @ host ' || bench, 'Maker M' || bench || ' @ hall') AS bench,
  'Person ' || person AS person, verdict, faults, notes,
  strftime(make_timestamp(ended * 1000000), '%Y-%m-%dT%H:%M:%S.000Z') AS started, started AS ended,
  sha256(id::VARCHAR) AS hash FROM made_runs ORDER BY id;
CREATE TABLE findings AS SELECT
  run AS run_id, number, kinds[kind + 1] AS kind, causes[cause + 1] AS cause,
  if(note, 'note', 'fault') AS severity, 'made up' AS title
  FROM made_findings, (SELECT {kinds} AS kinds, {causes} AS causes) ORDER BY run, number;
CREATE TABLE places AS SELECT DISTINCT run AS run_id, number, what, name FROM (
  SELECT run, number, 'wire' AS what, 'W' || wire AS name FROM made_findings
  UNION ALL SELECT run, number, 'connector', 'J' || plug FROM ends
  UNION ALL SELECT run, number, 'cavity', 'J' || plug || ':' || way FROM ends
  UNION ALL SELECT run, number, 'component', 'R' || wire % 5 FROM made_findings WHERE wire < 8)
  ORDER BY ALL;
"""
_ENDS = """
CREATE VIEW ends AS
  SELECT run, number, (wire * 7 + family) % {plugs} AS plug, wire % {ways} AS way FROM made_findings
  UNION ALL
  SELECT run, number, (wire * 11 + 3) % {plugs}, (wire * 3) % {ways} FROM made_findings WHERE both_ends;
"""
_COUNTED = """
CREATE VIEW played AS SELECT *, starts_with(bench, 'simulated bench @ ')::INT AS simulated
  FROM runs WHERE kind = 'proof';
CREATE TABLE proofs AS SELECT *, coalesce(sum((verdict = 'pass')::INT) OVER
  (PARTITION BY loom, serial, simulated ORDER BY run_id ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0)
  AS span FROM played;
CREATE VIEW proofs_of AS SELECT run_id, loom, serial, simulated FROM proofs;
CREATE TABLE since AS SELECT run_id, row_number() OVER each = 1 AS first_proof,
  min(CASE WHEN verdict = 'fail' THEN ended END) OVER so_far AS failed
  FROM proofs WINDOW each AS (PARTITION BY loom, serial, simulated ORDER BY run_id),
    so_far AS (PARTITION BY loom, serial, simulated, span ORDER BY run_id);
CREATE TABLE first_faults AS SELECT fault, min(spot) // 1000 AS run_id, min(spot) % 1000 AS number FROM (
  SELECT md5(concat_ws(
    '|', simulated, loom, serial, if(cause IN ('leak', 'added_part'), 'path', kind), named)) AS fault,
    run_id * 1000 + number AS spot
  FROM findings JOIN proofs_of USING (run_id) JOIN
    (SELECT run_id, number, string_agg(what || '=' || name, '|' ORDER BY what, name) AS named FROM places
     WHERE what IN ('wire', 'component') GROUP BY ALL) USING (run_id, number)
  WHERE severity = 'fault') GROUP BY fault ORDER BY run_id, number;
CREATE TABLE fault_names AS SELECT run_id, number, simulated, what, name FROM (
    SELECT run_id, number, what, name FROM places WHERE what <> 'cavity'
    UNION ALL SELECT run_id, number, 'kind', kind FROM findings)
  JOIN first_faults USING (run_id, number) JOIN proofs_of USING (run_id) ORDER BY ALL;
CREATE TABLE fault_counts AS SELECT min(run_id) AS run_id, simulated, what, name, count(*) AS times
  FROM fault_names JOIN runs USING (run_id)
  GROUP BY (run_id - 1) // {at_once}, ended[1:7], simulated, what, name ORDER BY ALL;
CREATE TABLE counted_runs AS SELECT
  run_id, md5(concat_ws('|', simulated, loom, serial)) AS item, simulated,
  first_proof::INT AS first_proof, if(verdict = 'pass', '', coalesce(failed, '')) AS failing_since,
  if(verdict = 'pass' AND failed IS NOT NULL,
    greatest(epoch(ended::TIMESTAMP)::BIGINT - epoch(failed::TIMESTAMP)::BIGINT, 0), -1)
    AS mended_s, coalesce(new_faults, 0) AS new_faults
  FROM proofs JOIN since USING (run_id)
  LEFT JOIN (SELECT run_id, count(*) AS new_faults FROM first_faults GROUP BY run_id) USING (run_id)
  ORDER BY run_id;
CREATE TABLE runs_counted AS SELECT runs.*, simulated, first_proof, mended_s, new_faults
  FROM runs LEFT JOIN counted_runs USING (run_id) ORDER BY run_id;
"""


def make(seed: int, runs: int, block: int = 0, blocks: int = 1) -> Any:
    """Return a connection of DuckDB with the tables of a block; block after block goes on in time."""
    rng = np.random.default_rng([seed, block])
    ids = np.arange(1, runs + 1) + block * runs
    looms = max(runs // 8, 10)
    loom = rng.integers(0, looms, runs)
    family = loom % FAMILIES
    loom = np.where(rng.random(runs) < 0.05, -1 - family, loom + block * looms)
    span = SPAN_S // blocks
    ended = 1_706_000_000 + block * span + np.sort(rng.integers(0, span, runs))
    order = np.lexsort((ids, loom))
    other = np.empty(runs, bool)
    other[0] = True
    other[1:] = np.diff(loom[order]) != 0
    episode = np.empty(runs, int)
    episode[order] = np.cumsum(other | (rng.random(runs) < 0.55)) - 1
    many = int(episode.max()) + 1
    each = np.where(rng.random(many) < 0.38, 0, rng.integers(1, 10, many))
    first = np.cumsum(each) - each
    total = int(each.sum())
    # An episode's faults are rows of these; a run has all those of its episode.
    faults = {
        "kind": rng.integers(0, len(KINDS), total),
        "cause": rng.integers(0, len(CAUSES), total),
        "wire": rng.integers(0, WIRES, total),
        "note": rng.random(total) < 0.1,
        "both_ends": rng.random(total) < 0.5,
    }
    correction = rng.random(runs) < 0.02
    times = np.where(correction, 0, each[episode])
    of_run = np.repeat(np.arange(runs), times)
    number = np.arange(len(of_run)) - np.repeat(np.cumsum(times) - times, times)
    at = first[episode[of_run]] + number
    found = {name: values[at] for name, values in faults.items()}
    found |= {"run": ids[of_run], "number": number + 1, "family": family[of_run]}
    bad = np.bincount(of_run[~found["note"]], minlength=runs)
    luck = np.where(rng.random(runs) < 0.9, "pass", "undecided")
    made = {
        "id": ids,
        "loom": loom,
        "family": family + block * FAMILIES,
        "ended": ended,
        "bench": rng.integers(0, BENCHES, runs),
        "person": rng.integers(0, PERSONS, runs),
        "correction": correction,
        "verdict": np.where(bad > 0, "fail", luck),
        "faults": bad,
        "notes": np.bincount(of_run[found["note"]], minlength=runs),
    }
    pa, duckdb = importlib.import_module("pyarrow"), importlib.import_module("duckdb")
    database = duckdb.connect()
    database.register("made_runs", pa.table(made))
    database.register("made_findings", pa.table(found))
    database.execute(_ENDS.format(plugs=PLUGS, ways=WAYS))
    database.execute(_WORDS.format(kinds=list(KINDS), causes=list(CAUSES)))
    database.execute(_COUNTED.format(at_once=AT_ONCE))
    return database


def write_parts(database: Any, folder: Path, block: int) -> None:
    """Write a block as `loomproof.fleet.parquet` lays a data set out: by month and part."""
    pq = importlib.import_module("pyarrow.parquet")
    months = dict(database.execute("SELECT run_id, ended[1:7] FROM runs").fetchall())
    ids = sorted(months)
    named = np.array([months[each] for each in ids])
    for table, columns in SCHEMA.items():
        if table in ("repairs", "readings"):
            continue  # which these questions do not ask of
        source = "runs_counted" if table == "runs" else table
        read = database.sql(f"SELECT * FROM {source} ORDER BY run_id").to_arrow_table()
        of, rows = np.searchsorted(ids, read["run_id"].to_numpy()), read.select(list(columns))
        part = of // AT_ONCE + 1 + block * (len(ids) // AT_ONCE + 1)
        month = named[of]
        cuts = np.flatnonzero((np.diff(part) != 0) | (month[1:] != month[:-1])) + 1
        for begin, end in zip([0, *cuts], [*cuts, len(of)], strict=True):
            path = folder / table / f"month={month[begin]}" / f"part-{part[begin]:08d}.parquet"
            path.parent.mkdir(parents=True, exist_ok=True)
            pq.write_table(rows.slice(begin, end - begin), path, compression="zstd")
