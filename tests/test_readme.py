"""The README shows what the tool really prints."""

from __future__ import annotations

from xml.etree import ElementTree

import tour


def test_every_command_of_the_tour_prints_what_the_readme_shows() -> None:
    """Run in order in an empty folder, each block's output is the README's, to the letter."""
    text = tour.README.read_text(encoding="utf-8")
    assert len(tour.BLOCK.findall(text)) >= 5
    pictures: dict[str, str] = {}
    assert tour.tour(text, pictures) == text
    assert set(pictures) == set(tour.PICTURES)
    for name, picture in pictures.items():
        assert f"tests/pictures/{name}" in text
        assert tour.kept(name) == picture


def test_pictures_stand_alone() -> None:
    """Each is a whole drawing, with nothing fetched, in ink on a white ground."""
    for name in tour.PICTURES:
        picture = tour.kept(name)
        root = ElementTree.fromstring(picture)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert root.find("{http://www.w3.org/2000/svg}title") is not None
        assert "href" not in picture and picture.count("http") == 1
