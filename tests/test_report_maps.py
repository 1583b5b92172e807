# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of a sweep: what they show is what the table holds."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import matplotlib as mpl
import matplotlib.image as image
import numpy as np
import pytest
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.text import Text
from typer.testing import CliRunner

from cranksag.cli.app import app
from cranksag.errors import InputError
from cranksag.report.curves import margin_band, pareto_picture
from cranksag.report.figure import save_figure
from cranksag.report.maps import COLOURS, margin_map, short
from cranksag.report.pictures import sweep_picture
from cranksag.studies import Table, objectives, survivors, write_table
from cranksag.studies.analysis import boundary
from cranksag.studies.measures import NUMBERS, TEXTS
from cranksag.studies.table import STATUSES, AxisColumn

RATINGS, SIZES, FEEDS = (600.0, 800.0, 1000.0, 1200.0), ("16 AWG", "12 AWG", "10 AWG"), ("battery", "starter stud")
AREAS = (1.3e-6, 3.3e-6, 5.3e-6)


def table(feeds: tuple[str, ...] = FEEDS, broken: bool = False) -> Table:
    """Margins that rise evenly with rating and size, and fall for the second feed point."""
    axes = [AxisColumn("battery.rating", "A"), AxisColumn("feed.size", "m2"), AxisColumn("feed.from", "-")]
    found = Table.empty(axes, len(RATINGS) * len(SIZES) * len(feeds))
    row = 0
    for rating in RATINGS:
        for size, area in zip(SIZES, AREAS, strict=True):
            for place, feed in enumerate(feeds):
                margin = (rating - 900.0) / 200.0 + 0.2 * SIZES.index(size) - 1.5 * place
                found.put_axes(row, (f"{rating:g} A", size, feed), (rating, area, float(place)))
                if broken and row == 5:
                    found.fail(row, "convergence: of the test")
                else:
                    found.put(row, _payload(margin, 0.1 * (1 + SIZES.index(size)) + rating / 1000.0))
                row += 1
    return found


def _payload(margin: float, mass: float) -> list[Any]:
    known = {"margin_v": margin, "minimum_voltage_v": 8.5 + margin, "starts": 1.0, "mass_kg": mass}
    numbers = [known.get(name) for name in NUMBERS]
    return [numbers, [""] * len(TEXTS), "held" if margin >= 0.0 else "restarted", ""]


def _sample(rows: int = 60) -> Table:
    """Rows at random places instead of a grid."""
    stream = np.random.default_rng(4)
    found = Table.empty([AxisColumn("battery.rating", "A"), AxisColumn("feed.length", "m")], rows)
    for row in range(rows):
        rating, length = 600.0 + 600.0 * stream.random(), 3.0 + 17.0 * stream.random()
        found.put_axes(row, (f"{rating:.4g} A", f"{length:.4g} m"), (rating, length))
        found.put(row, _payload((rating - 900.0) / 200.0 - 0.05 * length + 0.5, 1.0))
    return found


def test_a_map_shows_the_lowest_margin_of_each_place() -> None:
    held = table()
    figure = margin_map(held, "battery.rating", "feed.size")
    field = np.asarray(figure.axes[0].get_images()[0].get_array())
    assert field.shape == (3, 4)
    expected = [[(r - 900.0) / 200.0 + 0.2 * k - 1.5 for r in RATINGS] for k in range(3)]
    assert np.allclose(field, expected)
    told = figure.get_suptitle()
    assert "worst over feed.from" in told
    assert [t.get_text() for t in figure.axes[0].get_yticklabels()] == list(SIZES)


def test_the_contour_lies_where_the_margin_is_zero() -> None:
    """The margin of the test is linear in the steps, so that straight lines between cells meet zero exactly."""
    figure = margin_map(table(("battery",)), "battery.rating", "feed.size")
    contours = [c for c in figure.axes[0].collections if type(c).__name__ == "QuadContourSet"]
    assert len(contours) == 2  # black within white
    points = np.concatenate([path.vertices for path in contours[1].get_paths()])
    assert len(points) > 1
    for across, up in points:
        rating = 600.0 + 200.0 * across
        assert (rating - 900.0) / 200.0 + 0.2 * up == pytest.approx(0.0, abs=1e-6)


def test_dots_are_the_places_where_every_row_survives() -> None:
    held = table(("battery",))
    figure = margin_map(held, "battery.rating", "feed.size", margin=0.25)
    dots = figure.axes[0].collections
    offsets = [np.asarray(c.get_offsets()) for c in dots if type(c).__name__ == "PathCollection"]
    assert len(offsets[0]) == len(survivors(held, 0.25))
    both = margin_map(table(), "battery.rating", "feed.size")
    offsets = [np.asarray(c.get_offsets()) for c in both.axes[0].collections if type(c).__name__ == "PathCollection"]
    assert len(offsets[0]) == len([1 for r in RATINGS for k in range(3) if (r - 900.0) / 200.0 + 0.2 * k - 1.5 >= 0.0])


def test_a_failed_run_is_a_cross() -> None:
    figure = margin_map(table(broken=True), "battery.rating", "feed.size")
    crosses = [c for c in figure.axes[0].collections if type(c).__name__ == "PathCollection"][1]
    assert len(np.asarray(crosses.get_offsets())) == 1


@pytest.mark.parametrize("words", ["map", "map battery.rating,feed.size,feed.from", "band", "pareto"])
@pytest.mark.parametrize("title", ["Invented boat, 24 V", "A title far too long for one line, " * 6, ""])
def test_a_picture_is_headed_by_its_boat_and_covers_nothing(words: str, title: str) -> None:
    held = table()
    held.meta["title"] = title
    figure = sweep_picture(held, words, objectives(["margin_v:max", "mass_kg:min"], held))
    figure.draw_without_rendering()
    heads = [text for text in figure.texts if text.get_fontweight() == "bold"]
    assert " ".join(" ".join(text.get_text().split()) for text in heads) == " ".join(title.split())
    below = [ax.get_tightbbox().y1 for ax in figure.axes if ax.get_visible()]
    if figure.get_suptitle():
        below.append(figure._suptitle.get_window_extent().y1)
    (foot,) = (text.get_window_extent().y1 for text in figure.texts if text.get_text().startswith("Cautions"))
    above = [ax.get_tightbbox().y0 for ax in figure.axes if ax.get_visible()]
    if figure.get_supxlabel():
        above.append(figure._supxlabel.get_window_extent().y0)
    assert min(above) >= foot
    for head in heads:
        box = head.get_window_extent()
        assert box.x1 <= figure.bbox.x1
        assert box.y1 <= figure.bbox.y1
        assert box.y0 >= max(below)


def test_a_place_that_does_not_start_shows_no_margin() -> None:
    found = table(feeds=("battery",))
    thin = [row for row in range(len(found)) if found.written["feed.size"][row] == "16 AWG"]
    stuck = [row for row in thin if found.status[row] == STATUSES.index("held")]
    found.numbers["starts"][stuck] = 0.0
    figure = margin_map(found, "battery.rating", "feed.size")
    field = np.ma.filled(figure.axes[0].get_images()[0].get_array(), np.nan)
    assert np.isnan(field).sum() == len(stuck) > 0
    assert "triangles: the engine does not start" in figure.get_suptitle().replace("\n", " ")
    assert "triangles" not in margin_map(table(), "battery.rating", "feed.size").get_suptitle()
    assert any(("feed.size", "16 AWG") in place.others for place in boundary(table(feeds=("battery",))))
    assert not any(("feed.size", "16 AWG") in place.others for place in boundary(found))


def test_small_multiples_share_their_scale() -> None:
    figure = margin_map(table(), "battery.rating", "feed.size", "feed.from")
    panels = [ax for ax in figure.axes if ax.get_images()]
    assert [ax.get_title() for ax in panels] == ["feed.from = battery", "feed.from = starter stud"]
    assert len({ax.get_images()[0].get_clim() for ax in panels}) == 1


def test_a_band_holds_every_row_and_its_median() -> None:
    held = table()
    figure = margin_band(held, "battery.rating")
    median = next(line for line in figure.axes[0].get_lines() if line.get_label() == "median")
    worst = next(line for line in figure.axes[0].get_lines() if line.get_label() == "worst row")
    for place, rating in enumerate(RATINGS):
        rows = held.numbers["margin_v"][held.numbers["battery.rating [A]"] == rating]
        assert np.asarray(median.get_ydata())[place] == pytest.approx(np.median(rows))
        assert np.asarray(worst.get_ydata())[place] == rows.min()
    assert any(label.get_text() for label in figure.axes[0].get_yticklabels())


def test_a_band_of_single_rows_is_one_line() -> None:
    found = Table.empty([AxisColumn("battery.rating", "A")], len(RATINGS))
    for row, rating in enumerate(RATINGS):
        found.put_axes(row, (f"{rating:g} A",), (rating,))
        found.put(row, _payload((rating - 900.0) / 200.0, 1.0))
    panel = margin_band(found, "battery.rating").axes[0]
    assert [text.get_text() for text in panel.get_legend().get_texts()] == ["margin"]


def test_a_pareto_plot_names_what_nothing_beats() -> None:
    held = table()
    goals = objectives(["margin_v:max", "mass_kg:min"], held)
    figure = pareto_picture(held, goals)
    grey, black = (np.asarray(c.get_offsets()) for c in figure.axes[0].collections[:2])
    assert len(grey) == len(survivors(held))
    for x, y in black:
        assert not any((gx <= x and gy > y) or (gx < x and gy >= y) for gx, gy in grey)
    assert "small is better" in figure.axes[0].get_xlabel()


def test_rows_of_a_sample_are_points_with_their_contour() -> None:
    figure = margin_map(_sample(), "battery.rating", "feed.length")
    assert not figure.axes[0].get_images()
    assert figure.axes[0].get_xlabel() == "battery.rating [A]"
    assert any(type(c).__name__ == "TriContourSet" for c in figure.axes[0].collections)


EVERY = (
    "",
    "map battery.rating,feed.size",
    "map feed.size,feed.from",
    "map battery.rating,feed.size,feed.from",
    "band",
    "band feed.from",
    "pareto",
)


@pytest.mark.parametrize("words", EVERY)
def test_every_picture_is_the_same_each_time(words: str, tmp_path: Path) -> None:
    held = table(broken=True)
    goals = objectives(["margin_v:max", "mass_kg:min"], held)
    first, second = (save_figure(sweep_picture(held, words, goals), tmp_path / n) for n in ("a.png", "b.png"))
    assert first.read_bytes() == second.read_bytes()
    assert image.imread(first).std() > 0.01


def test_pictures_can_be_drawn_on_given_axes() -> None:
    own = Figure()
    left, right = own.subplots(1, 2)
    assert margin_map(table(), "battery.rating", "feed.size", ax=left) is own
    assert margin_band(table(), "battery.rating", ax=right) is own
    with pytest.raises(ValueError):
        margin_map(table(), "battery.rating", "feed.size", "feed.from", ax=left)


def test_the_colours_rise_in_lightness_so_that_grey_print_keeps_their_order() -> None:
    """Relative luminance of sRGB colours, IEC 61966-2-1."""
    colours = mpl.colormaps[COLOURS](np.linspace(0.0, 1.0, 64))[:, :3]
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(luminance) > 0.0)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("pie", "map X,Y"),
        ("map battery.ratin,feed.size", "did you mean"),
        ("map battery.rating", "map X,Y"),
        ("map feed.size,feed.size", "map X,Y"),
        ("band feed.size,feed.from", "map X,Y"),
        ("pareto", "two objectives"),
    ],
)
def test_what_is_no_picture_is_refused(words: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        sweep_picture(table(), words)
    assert told in str(caught.value)


def test_a_table_without_a_margin_has_no_picture() -> None:
    held = table()
    held.numbers["margin_v"][:] = math.nan
    for words in ("map battery.rating,feed.size", "band"):
        with pytest.raises(InputError):
            sweep_picture(held, words)


def test_an_earlier_sweep_is_drawn_by_the_command(tmp_path: Path) -> None:
    rows, picture = write_table(table(), tmp_path / "rows.csv"), tmp_path / "map.png"
    done = CliRunner().invoke(app, ["sweep", "--show", str(rows), "--plot", str(picture), "--picture", "band", "-q"])
    assert done.exit_code == 0, done.stderr
    assert image.imread(picture).std() > 0.01
    words = ["sweep", "--show", str(rows), "--plot"]
    for wrong in ([str(tmp_path / "map.txt")], [str(picture), "--picture", "map nowhere,feed.size"], [str(rows)]):
        refused = CliRunner().invoke(app, [*words, *wrong])
        assert (refused.exit_code, refused.stdout) == (2, "")


def test_the_line_of_zero_margin_runs_under_the_labels_of_the_cells() -> None:
    """Each label has a ground of its cell's colour, wider than the label and drawn over the line."""
    figure = margin_map(table(), "battery.rating", "feed.size")
    panel = figure.axes[0]
    figure.draw_without_rendering()
    contours = [c for c in panel.collections if isinstance(c, QuadContourSet)]
    assert contours
    cells = panel.images[0]
    for text in panel.texts:
        ground = text.get_bbox_patch()
        assert ground is not None
        column, row = text.get_position()
        value = cells.get_array()[round(row), round(column)]
        assert ground.get_facecolor() == pytest.approx(cells.cmap(cells.norm(value)))
        assert text.get_zorder() > max(c.get_zorder() for c in contours)
        own, under = Text.get_window_extent(text), ground.get_window_extent()
        assert under.x0 < own.x0
        assert under.x1 > own.x1


def test_a_table_without_a_title_is_drawn_under_the_name_of_its_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    titles = []

    def drawn(figure: Figure, path: Path) -> None:
        del path
        titles.append([text.get_text() for text in figure.texts])

    monkeypatch.setattr("cranksag.report.figure.save_figure", drawn)
    held = table()
    for name, title in (("winter.csv", "winter"), ("summer.sqlite", "mussel boat")):
        held.meta["title"] = "mussel boat"
        rows = write_table(held, tmp_path / name)
        done = CliRunner().invoke(app, ["sweep", "--show", str(rows), "--plot", str(tmp_path / "p.png"), "-q"])
        assert done.exit_code == 0, done.stderr
        assert title in titles[-1]


def test_a_cell_that_restarts_never_shows_a_margin_of_nil_or_more() -> None:
    """A bank that runs dry lets go at its threshold: the lowest voltage held lies there, a millivolt above or below."""
    found = table(feeds=("battery",))
    found.put(0, [*_payload(0.004, 0.1)[:2], "restarted", ""])
    panel = margin_map(found, "battery.rating", "feed.size").axes[0]
    written = [text.get_text() for text in panel.texts]
    assert written.count("restarts") == 1
    assert not [told for told in written if told.startswith("+0.00")]


def test_every_picture_of_a_sweep_carries_the_cautions() -> None:
    for figure in (margin_map(table(), "battery.rating", "feed.size"), margin_band(table(), "battery.rating")):
        assert any("Fuse every added conductor" in text.get_text().replace("\n", " ") for text in figure.texts)


@pytest.mark.parametrize(
    ("text", "label"),
    [("62.75862069 %", "62.76 %"), ("0.0123456 ohm", "0.01235 ohm"), ("60%", "60 %"), ("16 AWG", "16 AWG"),
     ("70mm2", "70 mm2"), ("1N5822", "1N5822"), ("2/0 AWG", "2/0 AWG"), ("-3.14159", "-3.142"), ("12", "12"),
     ("0.5mohm", "0.5 mohm"), ("parts 1.2345 a", "parts 1.2345 a")],
)  # fmt: skip
def test_a_label_has_no_more_digits_than_are_read(text: str, label: str) -> None:
    assert short(text) == label
