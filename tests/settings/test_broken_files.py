"""Every way to break a settings file gets its own clear message: the file, the key, what was written, what is right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from controller.settings.load import SettingsError, load_job, load_machine, load_technology
from tests.settings.files import JOB, MACHINE, TECHNOLOGY, broken

RECTANGULAR = broken(JOB, ('kind = "staggered"', 'kind = "rectangular"'))
LOADERS: dict[str, tuple[str, Callable[[Path], object]]] = {
    JOB: ("job.toml", load_job),
    RECTANGULAR: ("job.toml", load_job),
    TECHNOLOGY: ("technology.toml", load_technology),
    MACHINE: ("machine.toml", load_machine),
}

# The good file, what stands in it, what is written instead, and every message that follows.
TABLE: list[tuple[str, str, str, list[str]]] = [
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = 1.0\nkeep_out = [{ from_mm = [1, 1], to_mm = [1, 9], above_mm = 5.0 }]",
        ["job.toml: work.keep_out[0]: from_mm and to_mm must be opposite corners of a rectangle, apart in x and in y"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = 1.0\nkeep_out = [{ from_mm = [1, 1], to_mm = [4, 9] }]",
        ["job.toml: work.keep_out[0].above_mm: is missing; add above_mm = … to [[work.keep_out]]"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = 1.0\noutline_mm = [[0, 0], [9, 9]]",
        [
            "job.toml: work.outline_mm: must be the corners of the plate in order, three or more; you wrote [[0, 0], [9, 9]]"
        ],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        'thickness_mm = 1.0\nplate = "my plate"',
        [
            'job.toml: work.plate: must hold only letters, digits, - and _, and start with a letter or digit; you wrote "my plate"'
        ],
    ),
    (
        JOB,
        "tolerance_mm = 0.05",
        "tolerance_mm = 0.05\napart_mm = -1",
        ["job.toml: holes.apart_mm: must be at least 0; you wrote -1"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = -1",
        ["job.toml: work.thickness_mm: must be more than 0; you wrote -1"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness = 1.0",
        ["job.toml: work.thickness: unknown key; did you mean thickness_mm?"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        'thickness_mm = "1.0"',
        ['job.toml: work.thickness_mm: must be a number; you wrote "1.0"'],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = true",
        ["job.toml: work.thickness_mm: must be a number; you wrote true"],
    ),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = nan",
        ["job.toml: work.thickness_mm: must be a finite number; you wrote nan"],
    ),
    (JOB, "thickness_mm = 1.0", "thickness_mm = 51", ["job.toml: work.thickness_mm: must be at most 50; you wrote 51"]),
    (
        JOB,
        "thickness_mm = 1.0",
        "thickness_mm = 2026-01-01",
        ['job.toml: work.thickness_mm: must be a number; you wrote "2026-01-01"'],
    ),
    (JOB, "thickness_mm = 1.0\n", "", ["job.toml: work.thickness_mm: is missing; add thickness_mm = … to [work]"]),
    (
        JOB,
        "clear_below_mm = 6.0",
        "clear_bellow_mm = 6.0",
        ["job.toml: work.clear_bellow_mm: unknown key; did you mean clear_below_mm?"],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        "[[2, 2], [58, 2]]",
        ["job.toml: work.touch_points_mm: needs at least 3 entries; you wrote [[2, 2], [58, 2]]"],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        "[[2, 2], [30, 2], [58, 2]]",
        [
            "job.toml: work.touch_points_mm: must not stand in one line: they carry the plane of the work's face; you wrote [[2, 2], [30, 2], [58, 2]]"
        ],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        "[[2, 2], [58], [30, 48]]",
        ["job.toml: work.touch_points_mm[1]: needs 2 entries; you wrote [58]"],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        "[[2, 2], [58, 2, 0], [30, 48]]",
        ["job.toml: work.touch_points_mm[1]: may hold only 2 entries; you wrote [58, 2, 0]"],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        '[[2, 2], [58, "2"], [30, 48]]',
        ['job.toml: work.touch_points_mm[1][1]: must be a number; you wrote "2"'],
    ),
    (
        JOB,
        "[[2, 2], [58, 2], [30, 48]]",
        '"corners"',
        ['job.toml: work.touch_points_mm: must be a list in square brackets; you wrote "corners"'],
    ),
    (
        JOB,
        'name = "plate"',
        'name = "my plate"',
        [
            'job.toml: job.name: must hold only letters, digits, - and _, and start with a letter or digit; you wrote "my plate"'
        ],
    ),
    (JOB, 'name = "plate"', 'name = ""', ['job.toml: job.name: must not be empty; you wrote ""']),
    (JOB, 'name = "plate"', "name = 7", ["job.toml: job.name: must be text in quotes; you wrote 7"]),
    (JOB, 'technology = "pair"\n', "", ["job.toml: job.technology: is missing; add technology = … to [job]"]),
    (
        JOB,
        'technology = "pair"',
        'technology = "pair"\nthickness_mm = 1.0',
        ["job.toml: job.thickness_mm: unknown key here; it belongs to [work]"],
    ),
    (
        JOB,
        'technology = "pair"',
        'technology = "pair"\nfirst_article = "yes"',
        ['job.toml: job.first_article: must be true or false; you wrote "yes"'],
    ),
    (
        JOB,
        'technology = "pair"',
        'technology = "pair"\nzzz = 1',
        ["job.toml: job.zzz: unknown key; known here: name, technology, first_article"],
    ),
    (JOB, "[electrode]\n", "[electrodes]\n", ["job.toml: electrodes: unknown key; did you mean electrode?"]),
    (JOB, 'form = "rod"', 'form = "wire"', ['job.toml: electrode.form: must be "rod" or "tube"; you wrote "wire"']),
    (
        JOB,
        'form = "rod"',
        'form = "tube"',
        [
            "job.toml: electrode.bore_mm: a tube needs a bore of more than 0 and less than diameter_mm (1.2); you wrote 0"
        ],
    ),
    (
        JOB,
        'form = "rod"',
        'form = "tube"\nbore_mm = 1.2',
        [
            "job.toml: electrode.bore_mm: a tube needs a bore of more than 0 and less than diameter_mm (1.2); you wrote 1.2"
        ],
    ),
    (
        JOB,
        'form = "rod"',
        "bore_mm = 0.4",
        ['job.toml: electrode.bore_mm: a rod has no bore: leave it out, or set form = "tube"; you wrote 0.4'],
    ),
    (
        JOB,
        "min_length_mm = 25.0",
        "min_length_mm = 120.0",
        ["job.toml: electrode.length_mm: must be more than min_length_mm (120); you wrote 120"],
    ),
    (
        JOB,
        "diameter_mm = 1.2",
        "diameter_mm = 1.6",
        [
            "job.toml: holes.diameter_mm: must be more than electrode.diameter_mm (1.6): a hole is the electrode plus an overcut on each side; you wrote 1.5"
        ],
    ),
    (
        JOB,
        "diameter_mm = 1.2",
        "diameter_mm = 12",
        ["job.toml: electrode.diameter_mm: must be at most 10; you wrote 12"],
    ),
    (
        JOB,
        "tolerance_mm = 0.05",
        "tolerance_mm = 0.8",
        ["job.toml: holes.tolerance_mm: must be less than half of holes.diameter_mm (1.5); you wrote 0.8"],
    ),
    (
        JOB,
        "tolerance_mm = 0.05",
        "tolerance_mm = 0",
        ["job.toml: holes.tolerance_mm: must be more than 0; you wrote 0"],
    ),
    (
        JOB,
        "tolerance_mm = 0.05",
        "tolerance_mm = 0.05\nthrough = false",
        ["job.toml: holes.through: must be true: a job states no depth, so every hole goes through; you wrote false"],
    ),
    (
        JOB,
        'kind = "staggered"',
        'kind = "spiral"',
        [
            'job.toml: holes.pattern[0]: kind must be "rectangular" or "staggered" or "circle" or "list"; you wrote "spiral"'
        ],
    ),
    (
        JOB,
        'kind = "staggered"\n',
        "",
        ['job.toml: holes.pattern[0]: kind is missing; add kind = "…" to say what it is'],
    ),
    (
        JOB,
        'kind = "staggered"',
        'kind = "circle"',
        [
            "job.toml: holes.pattern[0].centre_mm: is missing; add centre_mm = … to [[holes.pattern]]",
            "job.toml: holes.pattern[0].radius_mm: is missing; add radius_mm = … to [[holes.pattern]]",
            "job.toml: holes.pattern[0].count: is missing; add count = … to [[holes.pattern]]",
            "job.toml: holes.pattern[0].origin_mm: unknown key; known here: kind, centre_mm, radius_mm, count, start_deg",
            "job.toml: holes.pattern[0].columns: unknown key; known here: kind, centre_mm, radius_mm, count, start_deg",
            "job.toml: holes.pattern[0].rows: unknown key; known here: kind, centre_mm, radius_mm, count, start_deg",
            "job.toml: holes.pattern[0].pitch_mm: unknown key; known here: kind, centre_mm, radius_mm, count, start_deg",
        ],
    ),
    (
        JOB,
        "columns = 4",
        "columns = 4.5",
        ["job.toml: holes.pattern[0].columns: must be a whole number; you wrote 4.5"],
    ),
    (JOB, "columns = 4", "columns = 0", ["job.toml: holes.pattern[0].columns: must be at least 1; you wrote 0"]),
    (JOB, "columns = 4", "columns = 5000", ["job.toml: holes.pattern[0].columns: must be at most 500; you wrote 5000"]),
    (JOB, "columns = 4", "colums = 4", ["job.toml: holes.pattern[0].colums: unknown key; did you mean columns?"]),
    (
        JOB,
        "columns = 4",
        'columns = 4\nshape = "x"',
        ["job.toml: holes.pattern[0].shape: unknown key; known here: kind, origin_mm, columns, rows, pitch_mm"],
    ),
    (
        JOB,
        "pitch_mm = 6.0",
        "pitch_mm = -6.0",
        ["job.toml: holes.pattern[0].pitch_mm: must be more than 0; you wrote -6.0"],
    ),
    (
        RECTANGULAR,
        "pitch_mm = 6.0",
        'pitch_mm = "6"',
        [
            'job.toml: holes.pattern[0].pitch_mm: must be a number or a list of numbers in square brackets; you wrote "6"'
        ],
    ),
    (
        RECTANGULAR,
        "pitch_mm = 6.0",
        "pitch_mm = [6.0]",
        ["job.toml: holes.pattern[0].pitch_mm: needs 2 entries; you wrote [6.0]"],
    ),
    (
        RECTANGULAR,
        "pitch_mm = 6.0",
        "pitch_mm = [6.0, 0.0]",
        ["job.toml: holes.pattern[0].pitch_mm: must be more than 0; you wrote [6.0, 0.0]"],
    ),
    (
        RECTANGULAR,
        "pitch_mm = 6.0",
        "pitch_mm = -6",
        ["job.toml: holes.pattern[0].pitch_mm: must be more than 0; you wrote -6"],
    ),
    (
        JOB,
        "[[holes.pattern]]",
        "[holes.pattern]",
        ["job.toml: holes.pattern: must be a list of tables: write [[holes.pattern]] in double brackets"],
    ),
    (
        JOB,
        "columns = 4",
        "columns = 4\ncolumns = 5",
        ["job.toml: not valid TOML: cannot overwrite a value (at line 26, column 12)"],
    ),
    (JOB, "columns = 4", "columns = four", ["job.toml: not valid TOML: invalid value (at line 25, column 11)"]),
    (
        JOB,
        "[holes]\n",
        "[holes\n",
        ["job.toml: not valid TOML: expected ']' at the end of a table declaration (at line 18, column 7)"],
    ),
    (
        TECHNOLOGY,
        "u = 0.05",
        "u = 0.1",
        ["technology.toml: volumetric_wear.u: must be less than guess (0.1); you wrote 0.1"],
    ),
    (TECHNOLOGY, "guess = 0.14", "guess = 0", ["technology.toml: overcut_mm.guess: must be more than 0; you wrote 0"]),
    (TECHNOLOGY, "[overcut_mm]", "[overcut]", ["technology.toml: overcut: unknown key; did you mean overcut_mm?"]),
    (
        TECHNOLOGY,
        '["stainless steel", "hardened stainless steel"]',
        "[]",
        ["technology.toml: pair.work: needs at least 1 entry; you wrote []"],
    ),
    (
        TECHNOLOGY,
        '["stainless steel", "hardened stainless steel"]',
        '"steel"',
        ['technology.toml: pair.work: must be a list in square brackets; you wrote "steel"'],
    ),
    (
        TECHNOLOGY,
        'electrode = "tungsten"',
        'electrode = ""',
        ['technology.toml: pair.electrode: must not be empty; you wrote ""'],
    ),
    (MACHINE, "tick_hz = 100", "tick_hz = 500", ["machine.toml: tick_hz: must be at most 200; you wrote 500"]),
    (MACHINE, "tick_hz = 100", "tick_hz = 60.5", ["machine.toml: tick_hz: must be a whole number; you wrote 60.5"]),
    (
        MACHINE,
        "[80.0, 80.0, 400.0]",
        "[80.0, 80.0]",
        ["machine.toml: axes.steps_per_mm: needs 3 entries; you wrote [80.0, 80.0]"],
    ),
    (
        MACHINE,
        "[80.0, 80.0, 400.0]",
        "[80.0, 0.0, 400.0]",
        ["machine.toml: axes.steps_per_mm[1]: must be more than 0; you wrote 0.0"],
    ),
    (
        MACHINE,
        "[80.0, 80.0, 400.0]",
        "[80.0, 80.0, 80.0]",
        [
            "machine.toml: axes.steps_per_mm: one step is 12.5 µm on the feed axis, more than 10 µm; z needs at least 100 steps/mm: set micro-stepping 2 times finer (160 steps/mm); you wrote [80.0, 80.0, 80.0]"
        ],
    ),
    (
        MACHINE,
        '"status"',
        '"ack"',
        [
            "machine.toml: axes.steps_per_mm: the smallest burst of an ack board, 3 × 6 steps, is 45 µm on the feed axis, more than 10 µm; z needs at least 1800 steps/mm: set micro-stepping 8 times finer (3200 steps/mm); you wrote [80.0, 80.0, 400.0]"
        ],
    ),
    (
        MACHINE,
        '"status"',
        '"statis"',
        ['machine.toml: motion.convention: must be "status" or "ack"; you wrote "statis"'],
    ),
    (
        MACHINE,
        '"clamp"',
        '"clam"',
        ['machine.toml: sampler.front_end: must be "clamp" or "divider" or "biased"; you wrote "clam"'],
    ),
    (
        MACHINE,
        "[220.0, 220.0, 0.0]",
        "[220.0, -1.0, 0.0]",
        [
            "machine.toml: axes.travel_max_mm: must be more than travel_min_mm on every axis; on y you wrote -1, against 0"
        ],
    ),
    (
        MACHINE,
        "x_mm = 10.0",
        "x_mm = 300.0",
        ["machine.toml: reference_plate.x_mm: must lie inside the travel on x, 0 to 220; you wrote 300"],
    ),
    (
        MACHINE,
        "height_mm = -60.0",
        "height_mm = -20.0",
        [
            "machine.toml: reference_plate.height_mm: must be between -112 (reached with holder.min_protrusion_mm) and -50 (cleared with holder.protrusion_mm); you wrote -20"
        ],
    ),
    (
        MACHINE,
        "[0.0, 0.0, -90.0]",
        "[0.0, 0.0, -20.0]",
        [
            "machine.toml: axes.travel_min_mm: must lie at least 28 mm below travel_max_mm on z: no face could be both reached with holder.min_protrusion_mm (22) and cleared by work_place.clear_height_mm (5) with holder.protrusion_mm (45); you wrote -20"
        ],
    ),
    (MACHINE, "open_v = 64.0", "open_v = 230", ["machine.toml: source.open_v: must be at most 100; you wrote 230"]),
    (
        MACHINE,
        "open_v = 64.0",
        'polarity = "tool-positive"',
        ['machine.toml: source.polarity: must be "tool-negative"; you wrote "tool-positive"'],
    ),
    (
        MACHINE,
        "min_protrusion_mm = 22.0",
        "min_protrusion_mm = 46.0",
        ["machine.toml: holder.protrusion_mm: must be more than min_protrusion_mm (46); you wrote 45"],
    ),
    (
        MACHINE,
        "median_s = 0.06",
        "median_s = 0.6",
        ["machine.toml: drop_outs.longest_s: must be more than median_s (0.6); you wrote 0.4"],
    ),
    (
        MACHINE,
        "tick_hz = 100",
        "tick_hz = 100\n[sampler.pins]\nsource = 13\n",
        [
            "machine.toml: sampler.pins.source: must not be the board's lamp, which the board toggles by itself; you wrote 13"
        ],
    ),
    (
        MACHINE,
        "tick_hz = 100",
        "tick_hz = 100\n[sampler.pins]\nlevel = 4\n",
        ["machine.toml: sampler.pins.level: must be a pin of its own; 4 is in use above"],
    ),
    (
        MACHINE,
        "[motion]",
        "home_mm = [1.0, 1.0, 2.0]\n[motion]",
        ["machine.toml: axes.home_mm: must lie inside the travel on every axis; on z you wrote 2, outside -90 to 0"],
    ),
    (
        MACHINE,
        "[motion]",
        "[spindle]\nrev_min = 200.0\n[motion]",
        ["machine.toml: spindle.rev_min: must be at most top_rev_min (120); you wrote 200"],
    ),
    (MACHINE, 'name = "bench"\n', "", ["machine.toml: name: is missing; add name = … to the top of the file"]),
    (MACHINE, "[motion]", "[motions]", ["machine.toml: motions: unknown key; did you mean motion?"]),
    (
        JOB,
        'material = "stainless steel"',
        'material = "brass"',
        [
            'job.toml: work.material: technology "pair" is for "stainless steel" or "hardened stainless steel"; you wrote "brass"'
        ],
    ),
    (
        JOB,
        'material = "tungsten"',
        'material = "copper"',
        ['job.toml: electrode.material: technology "pair" is for "tungsten"; you wrote "copper"'],
    ),
    (
        JOB,
        "[[holes.pattern]]\nkind",
        "[[holes.patern]]\nkind",
        ["job.toml: holes.patern: unknown key; did you mean pattern?"],
    ),
    (
        JOB,
        '[electrode]\nmaterial = "tungsten"\ndiameter_mm = 1.2',
        '[electrodes]\nmaterial = "tungsten"\ndiameter_mm = -1.2',
        [
            "job.toml: electrodes: unknown key; did you mean electrode?",
            "job.toml: electrode.diameter_mm: must be more than 0.05; you wrote -1.2",
        ],
    ),
]


def messages_of(folder: Path, text: str, name: str, load: Callable[[Path], object]) -> list[str]:
    (folder / "pair.toml").write_text(TECHNOLOGY, encoding="utf-8")
    path = folder / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SettingsError) as refused:
        load(path)
    assert str(refused.value).splitlines() == [str(problem) for problem in refused.value.problems]
    return [str(problem).replace(f"{folder}/", "") for problem in refused.value.problems]


@pytest.mark.parametrize(("good", "before", "after", "expected"), TABLE)
def test_a_broken_entry_gets_exactly_its_message(
    tmp_path: Path, good: str, before: str, after: str, expected: list[str]
) -> None:
    name, load = LOADERS[good]
    assert messages_of(tmp_path, broken(good, (before, after)), name, load) == expected


@pytest.mark.parametrize("good", list(LOADERS))
def test_the_unbroken_files_are_accepted(tmp_path: Path, good: str) -> None:
    (tmp_path / "pair.toml").write_text(TECHNOLOGY, encoding="utf-8")
    name, load = LOADERS[good]
    (tmp_path / name).write_text(good, encoding="utf-8")
    load(tmp_path / name)


def test_ten_different_mistakes_get_ten_messages_at_once(tmp_path: Path) -> None:
    text = broken(
        JOB,
        ('name = "plate"', 'name = "my plate"'),
        ('material = "stainless steel"', 'material = "brass"'),
        ("thickness_mm = 1.0", "thickness = 1.0"),
        ("[[2, 2], [58, 2], [30, 48]]", "[[2, 2], [30, 2], [58, 2]]"),
        ("diameter_mm = 1.2", 'diameter_mm = "1.2"'),
        ('form = "rod"', 'form = "wire"'),
        ("length_mm = 120.0", "length_mm = 12.0"),
        ("tolerance_mm = 0.05", "tolerance_mm = 0.8"),
        ("columns = 4\n", ""),
        ("pitch_mm = 6.0", "pitch_mm = -6"),
    )
    assert messages_of(tmp_path, text, "job.toml", load_job) == [
        "job.toml: work.thickness: unknown key; did you mean thickness_mm?",
        'job.toml: job.name: must hold only letters, digits, - and _, and start with a letter or digit; you wrote "my plate"',
        'job.toml: electrode.diameter_mm: must be a number; you wrote "1.2"',
        'job.toml: electrode.form: must be "rod" or "tube"; you wrote "wire"',
        "job.toml: holes.pattern[0].columns: is missing; add columns = … to [[holes.pattern]]",
        "job.toml: holes.pattern[0].pitch_mm: must be more than 0; you wrote -6",
        "job.toml: work.touch_points_mm: must not stand in one line: they carry the plane of the work's face; you wrote [[2, 2], [30, 2], [58, 2]]",
        "job.toml: electrode.length_mm: must be more than min_length_mm (25); you wrote 12",
        "job.toml: holes.tolerance_mm: must be less than half of holes.diameter_mm (1.5); you wrote 0.8",
        'job.toml: work.material: technology "pair" is for "stainless steel" or "hardened stainless steel"; you wrote "brass"',
    ]


def test_an_empty_file_is_told_every_table_it_needs(tmp_path: Path) -> None:
    assert messages_of(tmp_path, "", "job.toml", load_job) == [
        f"job.toml: {table}: is missing; add the table [{table}]" for table in ("job", "work", "electrode", "holes")
    ]


def test_a_file_that_is_not_text_is_refused_with_the_place(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_bytes(b'[job]\nname = "\xff"\n')
    with pytest.raises(SettingsError, match=r"not UTF-8 text \(byte 14\); save it again as UTF-8"):
        load_job(tmp_path / "job.toml")


def test_a_file_that_cannot_be_read_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(SettingsError, match=r"absent.toml: can't be read: No such file or directory"):
        load_machine(tmp_path / "absent.toml")


def test_a_broken_technology_is_reported_in_its_own_file(tmp_path: Path) -> None:
    (tmp_path / "pair.toml").write_text(broken(TECHNOLOGY, ("guess = 0.8", "guess = 0")), encoding="utf-8")
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    with pytest.raises(SettingsError, match=r"pair.toml: cone_diameters.guess: must be more than 0; you wrote 0"):
        load_job(tmp_path / "job.toml")
