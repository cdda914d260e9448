"""A batch's spreadsheet: what is read, what is passed over, what is named."""

from pathlib import Path

import pytest

from service.manifest import ManifestError, RotorError, read_manifest


def write(folder: Path, text: str) -> Path:
    path = folder / "manifest.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_photos_of_one_rotor_share_it_and_the_others_stand_alone(tmp_path: Path) -> None:
    path = write(tmp_path, "photo,rotor\na.jpg,R1\nb.jpg,\nc.jpg,R1\nd.jpg,\n")
    rotors = read_manifest(path).rotors
    assert [(rotor.name, [row.number for row in rotor.rows]) for rotor in rotors] == [
        ("R1", [2, 4]),
        ("b.jpg", [3]),
        ("d.jpg", [5]),
    ]
    assert rotors[0].rows[0].photo == tmp_path / "a.jpg"


def test_spreadsheets_with_a_byte_order_mark_and_empty_lines_are_read(tmp_path: Path) -> None:
    path = tmp_path / "manifest.csv"
    path.write_bytes("photo,axle\r\na.jpg,front\r\n,\r\n\r\nb.jpg,rear\r\n".encode("utf-8-sig"))
    rotors = read_manifest(path).rotors
    assert [rotor.said("axle") for rotor in rotors] == ["front", "rear"]


def test_a_column_nobody_asked_for_is_named_once(tmp_path: Path) -> None:
    manifest = read_manifest(write(tmp_path, "photo,shelf\na.jpg,7\nb.jpg,8\n"))
    assert manifest.notices == ("manifest.csv: passed over the columns shelf",)


def test_tellings_of_one_rotor_that_differ_are_named_with_their_rows(tmp_path: Path) -> None:
    path = write(tmp_path, "photo,rotor,year\na.jpg,R1,2019\nb.jpg,R1,\nc.jpg,R1,2020\n")
    (rotor,) = read_manifest(path).rotors
    with pytest.raises(RotorError, match="year of rotor R1 differs: '2019' in row 2, '2020' in row 4"):
        rotor.said("year")


def test_a_wrong_option_is_named_with_its_row(tmp_path: Path) -> None:
    (rotor,) = read_manifest(write(tmp_path, "photo,thickness_mm\na.jpg,thick\n")).rotors
    with pytest.raises(RotorError, match="row 2: thickness_mm must be a length"):
        rotor.rows[0].order()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no column photo"),
        ("picture\na.jpg\n", "no column photo"),
        ("photo\n", "no rows"),
        ('photo\n"a', "not CSV"),
    ],
)
def test_a_spreadsheet_that_cannot_be_used_says_why(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(ManifestError, match=said):
        read_manifest(write(tmp_path, text))


def test_a_file_that_is_no_text_says_so(tmp_path: Path) -> None:
    (tmp_path / "m.csv").write_bytes(b"PK\x03\x04\xff\xfe")
    with pytest.raises(ManifestError, match="UTF-8"):
        read_manifest(tmp_path / "m.csv")
    with pytest.raises(ManifestError, match="no such file"):
        read_manifest(tmp_path / "other.csv")


def test_a_result_belongs_to_the_row_the_photo_and_the_catalogue(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"one")
    path = write(tmp_path, "photo,axle\na.jpg,front\n")
    first = read_manifest(path).rotors[0].fingerprint("catalogue")
    assert read_manifest(path).rotors[0].fingerprint("catalogue") == first
    assert read_manifest(path).rotors[0].fingerprint("another") != first
    (tmp_path / "a.jpg").write_bytes(b"another")
    assert read_manifest(path).rotors[0].fingerprint("catalogue") != first
    changed = read_manifest(write(tmp_path, "photo,axle\na.jpg,rear\n")).rotors[0]
    assert changed.fingerprint("catalogue") != first
