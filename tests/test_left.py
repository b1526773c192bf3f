"""What a run leaves in a folder is old or new, and whole."""

import matplotlib.pyplot as plt
import pytest
from PIL import Image

from sagglab.book import open_book
from sagglab.charts import firing_curve, save_chart
from sagglab.firing.readings import read_readings
from sagglab.study.files import write_study
from sagglab.study.left import leave
from sagglab.study.measured import measure_book


def held(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_what_an_earlier_run_left_goes_and_what_is_the_users_own_stays(tmp_path):
    for name in ("dose of salt.png", "dose of sugar.png", "notes.txt"):
        (tmp_path / name).write_bytes(b"old")
    leave(tmp_path, {"dose of sugar.png": b"new", "answer.md": "It is."}, ["dose of *.png"])
    assert held(tmp_path) == {"dose of sugar.png": b"new", "answer.md": b"It is.", "notes.txt": b"old"}


def test_a_study_that_is_stopped_while_it_draws_leaves_the_old(tmp_path):
    (tmp_path / "firing f1.png").write_bytes(b"old")

    class Stopping:
        def __getattr__(self, name):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_study(Stopping(), tmp_path)
    assert held(tmp_path) == {"firing f1.png": b"old"}


def test_measuring_that_is_stopped_leaves_the_old_pictures(small_book, tmp_path, monkeypatch):
    (tmp_path / "review").mkdir()
    (tmp_path / "review" / "photos-p09-front.jpg").write_bytes(b"old")

    def stop(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("sagglab.study.measured.measure_photos", stop)
    with pytest.raises(KeyboardInterrupt):
        measure_book(open_book(small_book), tmp_path)
    assert held(tmp_path / "review") == {"photos-p09-front.jpg": b"old"}


def test_a_chart_that_cannot_be_drawn_leaves_the_old_file(demo, tmp_path):
    path = tmp_path / "curve.png"
    ax = firing_curve(read_readings(demo / "readings/f1.csv"))
    save_chart(ax, path)
    before = path.read_bytes()
    assert Image.open(path).text["Description"].startswith("Firing curve of f1.csv")
    ax.set_title("$")
    ax.title.set_parse_math(True)
    ax.title.set_text("$\\nothing$")
    with pytest.raises(ValueError, match="nothing"):
        save_chart(ax, str(path))
    plt.close(ax.figure)
    assert held(tmp_path) == {"curve.png": before}
