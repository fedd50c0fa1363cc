"""Where the curves of a plot go."""

import re

import numpy as np
import pytest

from drumkeep.web.plot import TALL, WIDE, Area, Curve, Plot, drawing


def plot(**changes) -> Plot:
    x = np.array([0.0, 5.0, 10.0])
    plain = {
        "key": "k",
        "title": "Something",
        "x_name": "hours",
        "y_name": "°C",
        "curves": (Curve(name="a", x=x, y=np.array([1.0, 10.0, 100.0])),),
        "ticks": ((0.0, "0"), (10.0, "10")),
        "lines": ((1.0, "1"), (100.0, "100")),
    }
    return Plot(**(plain | changes))


def points(path: str) -> np.ndarray:
    return np.array([[float(n) for n in p.split()] for p in re.split("[ML]", path.rstrip("Z"))[1:]])


def test_curve_fills_the_box_from_edge_to_edge():
    (stroke, path), *_ = drawing(plot()).paths
    found = points(path)
    assert stroke == "plain"
    assert found[:, 0] == pytest.approx([0.0, WIDE / 2, WIDE])
    assert found[0, 1] > found[1, 1] > found[2, 1]
    assert found[:, 1].min() > 0.0
    assert found[:, 1].max() < TALL


def test_steep_plot_makes_each_power_of_ten_as_high():
    found = points(drawing(plot(steep=True)).paths[0][1])
    assert found[0, 1] - found[1, 1] == pytest.approx(found[1, 1] - found[2, 1], abs=0.11)


def test_area_goes_out_along_its_top_and_back_along_its_bottom():
    x = np.array([0.0, 10.0])
    area = Area(x=x, low=np.array([1.0, 2.0]), high=np.array([50.0, 60.0]))
    (path,) = drawing(plot(areas=(area,))).areas
    found = points(path)
    assert path.endswith("Z")
    assert found[:, 0] == pytest.approx([0.0, WIDE, WIDE, 0.0])
    assert found[:2, 1].max() < found[2:, 1].min()


def test_words_at_the_edges_run_inward():
    made = drawing(plot())
    assert [tick.anchor for tick in made.ticks] == ["start", "end"]
    assert made.names[0].anchor == "middle"
    assert made.names[0].x == 50.0
