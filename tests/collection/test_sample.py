from __future__ import annotations

import json
import random
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from litlamp.cli import commands
from litlamp.collection.interval import clopper_pearson
from litlamp.collection.strata import LEAST, OTHERS, allot, draw_sample, load_weights, put_together
from litlamp.collection.truth_file import LinesError, parse_truth
from litlamp.collection.whole import Checked, estimate

sizes = st.dictionaries(st.text("abc", min_size=1, max_size=3), st.integers(1, 400), min_size=1)


@given(sizes, st.integers(1, 300))
def test_shares_sum_to_the_sample_and_none_is_larger_than_its_stratum(of: dict[str, int], count: int) -> None:
    shares = allot(of, count)
    assert sum(shares.values()) == min(count, sum(of.values()))
    assert all(0 <= shares[name] <= of[name] for name in of)
    if count >= LEAST * len(of):
        assert all(shares[name] >= min(LEAST, of[name]) for name in of)


@given(sizes, st.integers(1, 300))
def test_every_source_has_one_stratum_and_each_can_be_drawn_from(of: dict[str, int], count: int) -> None:
    home = put_together(of, count)
    assert set(home) == set(of)
    assert set(home.values()) <= {*of, OTHERS}
    merged = Counter[str]()
    for name, into in home.items():
        merged[into] += of[name]
    assert LEAST * len(merged) <= max(count, LEAST)
    shares = allot(merged, count)
    assert all(shares.values())


def collection(path: Path, by_hand: Any, count: int = 60) -> Path:
    lines = []
    for i in range(count):
        if i % 10 == 9:
            signals = []
        else:
            signals = [by_hand.read(by_hand.signal("red", rule="439" if i % 3 else "405"))]
        more = {"brightness": 20.0 if i % 2 else 150.0, "columns": {"line": "north" if i < 20 else "south"}}
        lines.append(by_hand.record(*signals, source=f"{i}.png", **more))
    failed = {"kind": None, "size": None, "failure": "gone"}
    lines.append(by_hand.record(source="failed.png", **failed))
    path.write_text("".join(json.dumps(line) + "\n" for line in lines))
    return path


def test_a_sample_is_the_same_for_the_same_seed_and_weighs_up_to_the_collection(
    tmp_path: Path, by_hand: Any
) -> None:
    readings = collection(tmp_path / "r.jsonl", by_hand)
    drawn = draw_sample(readings, 24, ["rule", "light"], 1)
    assert drawn == draw_sample(readings, 24, ["rule", "light"], 1)
    assert drawn.members != draw_sample(readings, 24, ["rule", "light"], 2).members
    assert (len(drawn.members), drawn.sources, drawn.failed) == (24, 60, 1)
    assert sum(m.weight for m in drawn.members) == pytest.approx(60)
    # Of each tenth a picture without a signal; all of those are dark here.
    assert {m.stratum for m in drawn.members} == {
        "439, bright", "439, dark", "405, bright", "405, dark", "no signal, dark",
    }  # fmt: skip
    assert [r.source for r in drawn.records] == [m.source for m in drawn.members]
    assert "failed.png" not in [m.source for m in drawn.members]


def test_strata_by_the_researchers_own_columns(tmp_path: Path, by_hand: Any) -> None:
    readings = collection(tmp_path / "r.jsonl", by_hand)
    drawn = draw_sample(readings, 12, ["line"], 0)
    assert Counter(m.stratum for m in drawn.members) == {"north": 4, "south": 8}
    with pytest.raises(LinesError, match=r"rule, .* and by line, not by colour"):
        draw_sample(readings, 12, ["line", "colour"], 0)


# -- the estimate ------------------------------------------------------------------------------------------


def test_one_stratum_of_single_cases_is_the_exact_interval_of_a_simple_sample() -> None:
    checked = [Checked("all", float(i < 3), 1.0) for i in range(100)]
    found = estimate("x", checked, {"all": 10**9})
    assert found.value == pytest.approx(0.03)
    # n / (n - 1) of the variance, and so of the size.
    assert found.effective == pytest.approx(99, rel=1e-6)
    low, high = clopper_pearson(3, 100)
    assert (found.low, found.high) == (pytest.approx(low, rel=0.02), pytest.approx(high, rel=0.02))
    none = estimate("x", [Checked("all", 0.0, 1.0)] * 100, {"all": 10**9})
    assert (none.value, none.low) == (0.0, 0.0)
    assert none.high == pytest.approx(clopper_pearson(0, 100)[1])


def test_strata_are_weighted_by_their_sizes() -> None:
    checked = [Checked("many", 0.0, 1.0)] * 10 + [Checked("few", 1.0, 1.0)] * 10
    assert estimate("x", checked, {"many": 900, "few": 100}).value == pytest.approx(0.1)
    assert estimate("x", checked, {"many": 100, "few": 900}).value == pytest.approx(0.9)
    assert estimate("x", [Checked("many", 0.0, 0.0)], {"many": 9}).value is None


def test_the_interval_holds_the_truth_about_as_often_as_it_says() -> None:
    dice = random.Random(4)
    population = {
        name: [Checked(name, float(dice.random() < share), 1.0) for _ in range(size)]
        for name, size, share in (("a", 3000, 0.02), ("b", 600, 0.2), ("c", 60, 0.6))
    }
    true = sum(c.hits for held in population.values() for c in held) / 3660
    counts = {name: len(held) for name, held in population.items()}
    shares = {"a": 60, "b": 40, "c": 20}
    held = 0
    for _ in range(400):
        drawn = [one for name, of in population.items() for one in dice.sample(of, shares[name])]
        found = estimate("x", drawn, counts)
        held += found.low <= true <= found.high
    # 95 % are promised, and such intervals keep more than they promise; 400 draws may miss it by 2 %.
    assert held >= 0.93 * 400


# -- the whole way -----------------------------------------------------------------------------------------


def test_from_a_collection_to_an_estimate_of_it(tmp_path: Path, by_hand: Any) -> None:
    Image.new("RGB", (640, 480), (60, 60, 60)).save(tmp_path / "7.png")
    collection(tmp_path / "readings.jsonl", by_hand)
    (tmp_path / "run.json").write_text(json.dumps({"sessions": [{"folder": str(tmp_path)}]}))
    told = CliRunner().invoke(commands, ["sample", str(tmp_path), "-n", "40"])
    assert told.exit_code == 0, told.output
    assert "40 of 60 sources, 5 strata; 1 could not be read" in told.output.replace("\n", " ")
    folder = tmp_path / "sample"
    members = load_weights(folder / "weights.jsonl")
    page = (folder / "page.html").read_text()
    data = json.loads(re.search(r'id="verdict-data">(.*?)</script>', page, re.S)[1])  # type: ignore[index]
    assert [s["source"] for s in data["sources"]] == [m.source for m in members]
    assert "Training aid only" in page
    assert "It cannot be opened as it was" in page
    assert ("data:image/jpeg" in page) == ("7.png" in [m.source for m in members])
    # What the page's script saves when all is marked right but the "405", which were "439".
    truth = []
    for source in data["sources"]:
        own = [i for i in data["items"] if i["source"] == source["source"]]
        signals = [
            {**i["signal"], "rule": "439", "edition": data["edition"]} for i in own if i["signal"] is not None
        ]
        truth.append({**source, "complete": True, "signals": signals, "distractors": []})
    file = tmp_path / "truth.jsonl"
    file.write_text("".join(json.dumps(line) + "\n" for line in truth))
    assert len(parse_truth(file.read_bytes(), "t")) == 40
    told = CliRunner().invoke(
        commands,
        [
            "score",
            str(file),
            str(folder / "readings.jsonl"),
            "--weights",
            str(folder / "weights.jsonl"),
            "--json",
        ],
    )
    assert told.exit_code == 0, told.output
    whole = json.loads(told.output)["whole"]
    (wrong,) = [e for e in whole["estimates"] if e["name"] == "reading wrong-side"]
    # Of the 54 signals of the collection 18 were read as 405: a third, by the weights exactly.
    assert wrong["value"] == pytest.approx(18 / 54)
    assert wrong["low"] < 18 / 54 < wrong["high"]
    assert (whole["checked"], whole["drawn"], whole["sources"]) == (40, 40, 60)
    text = CliRunner().invoke(
        commands,
        ["score", str(file), str(folder / "readings.jsonl"), "--weights", str(folder / "weights.jsonl")],
    )
    assert "The whole collection of 60 sources, estimated from 40 of the 40" in text.output


def test_what_was_not_checked_is_told(tmp_path: Path, by_hand: Any) -> None:
    readings = collection(tmp_path / "readings.jsonl", by_hand)
    CliRunner().invoke(commands, ["sample", str(readings), "-n", "20", "--by", "rule"])
    members = load_weights(tmp_path / "sample" / "weights.jsonl")
    one = next(m for m in members if m.stratum == "439")
    file = tmp_path / "truth.jsonl"
    signal = {"box": [85, 35, 115, 65], "rule": "439", "edition": "2025"}
    file.write_text(json.dumps({"source": one.source, "signals": [signal]}) + "\n")
    weights = str(tmp_path / "sample" / "weights.jsonl")
    told = CliRunner().invoke(commands, ["score", str(file), str(readings), "--weights", weights])
    assert told.exit_code == 0, told.output
    assert "Nothing is said of 24 sources of strata of which none was checked: 405; no signal." in told.output
    assert "estimated from 1 of the 20" in told.output
    file.write_text(json.dumps({"source": "failed.png", "signals": []}) + "\n")
    told = CliRunner().invoke(commands, ["score", str(file), str(readings), "--weights", weights])
    assert told.exit_code == 2
    assert "no source of the truth is in the sample" in told.output


def test_a_sample_is_written_over_nothing(tmp_path: Path, by_hand: Any) -> None:
    readings = collection(tmp_path / "readings.jsonl", by_hand)
    before = readings.read_bytes()
    go = CliRunner()

    def sampled(*more: str) -> int:
        return go.invoke(commands, ["sample", str(readings), *more], standalone_mode=True).exit_code

    assert sampled("-n", "5", "--to", str(tmp_path)) == 2
    assert readings.read_bytes() == before
    to = tmp_path / "drawn"
    assert sampled("-n", "20", "--to", str(to)) == 0
    first = {p.name: p.read_bytes() for p in to.iterdir()}
    assert sampled("-n", "21", "--to", str(to)) == 2  # the first may be half marked
    assert sampled("-n", "20", "--to", str(to)) == 0
    assert {p.name: p.read_bytes() for p in to.iterdir()} == first
    run_of_its_own = tmp_path / "run"
    run_of_its_own.mkdir()
    (run_of_its_own / "journal.jsonl").touch()
    assert sampled("-n", "5", "--to", str(run_of_its_own)) == 2
