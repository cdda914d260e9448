"""Photos as phones, messengers and scanners leave them."""

import zlib
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import ExifTags, Image, ImageOps

from vision.photo import MAX_PIXELS, Photo, PhotoError, Pixels, read_photo

CORNERS_RGB = ((250, 10, 10), (10, 250, 10), (10, 10, 250), (240, 240, 240))
JPEG_LEVELS = 14  # how far JPEG at quality 95 may leave a flat patch


def picture(width: int = 96, height: int = 64) -> Image.Image:
    """Four patches: red, green, blue and white from top left, row by row."""
    rgb = np.zeros((height, width, 3), np.uint8)
    for index, colour in enumerate(CORNERS_RGB):
        row, column = divmod(index, 2)
        rgb[row * height // 2 : (row + 1) * height // 2, column * width // 2 : (column + 1) * width // 2] = colour
    return Image.fromarray(rgb)


def saved(image: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    if kind in ("JPEG", "MPO"):
        options = {"quality": 95, "subsampling": 0} | options
    store = BytesIO()
    image.save(store, kind, **options)
    return store.getvalue()


def lens(**tags: object) -> Image.Exif:
    """EXIF with tags of the camera block by their names, ``Orientation`` and ``Make`` in the first block."""
    exif = Image.Exif()
    for name, value in tags.items():
        tag = ExifTags.Base[name]
        if name in ("Orientation", "Make"):
            exif[tag] = value
        else:
            exif.get_ifd(ExifTags.IFD.Exif)[tag] = value
    return exif


def patches(photo: Photo) -> Pixels:
    """Colours (4, 3), RGB, amid the four quarters of the displayed picture."""
    rows, columns = (photo.height // 4, 3 * photo.height // 4), (photo.width // 4, 3 * photo.width // 4)
    return np.array([photo.bgr[row, column, ::-1] for row in rows for column in columns], np.uint8)


def assert_patches(photo: Photo, wanted: object = CORNERS_RGB, levels: float = JPEG_LEVELS) -> None:
    np.testing.assert_allclose(patches(photo).astype(float), np.array(wanted, float), rtol=0, atol=levels)


def test_jpeg_keeps_its_shape_colours_and_name(tmp_path: Path) -> None:
    path = tmp_path / "rotor.jpg"
    path.write_bytes(saved(picture()))
    photo = read_photo(path)
    assert (photo.name, photo.width, photo.height) == ("rotor.jpg", 96, 64)
    assert_patches(photo)
    assert photo.grey.shape == (64, 96)
    assert read_photo(path.read_bytes(), "told").name == "told"


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "HEIF", "AVIF", "GIF", "MPO"])
def test_other_formats_show_the_same_picture(kind: str) -> None:
    pillow_heif.register_heif_opener()
    options: dict[str, object] = {"PNG": {}, "GIF": {}, "MPO": {}}.get(kind, {"quality": 95})
    assert_patches(read_photo(saved(picture(), kind, **options)), levels=20)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_once_and_as_pillow_does(kind: str, orientation: int) -> None:
    data = saved(picture(), kind, exif=lens(Orientation=orientation))
    displayed = np.asarray(ImageOps.exif_transpose(Image.open(BytesIO(data))).convert("RGB"))
    photo = read_photo(data)
    np.testing.assert_allclose(photo.bgr[..., ::-1].astype(float), displayed, rtol=0, atol=6)


@pytest.mark.parametrize("orientation", [0, 9, 4711])
def test_an_impossible_orientation_tag_turns_nothing(orientation: int) -> None:
    assert_patches(read_photo(saved(picture(), exif=lens(Orientation=orientation))))


def test_heic_is_turned_once() -> None:
    pillow_heif.register_heif_opener()
    photo = read_photo(saved(picture(), "HEIF", quality=95, exif=lens(Orientation=6).tobytes()))
    assert (photo.width, photo.height) == (64, 96)
    assert_patches(photo, [CORNERS_RGB[i] for i in (2, 0, 3, 1)], levels=20)


def test_grey_sixteen_bit_alpha_and_palette_become_eight_bit_colour() -> None:
    shades = np.tile(np.linspace(0, 65535, 96).astype(np.uint16), (64, 1))
    deep = read_photo(saved(Image.fromarray(shades), "PNG"))
    np.testing.assert_allclose(deep.grey[10].astype(float), shades[10] / 257.0, rtol=0, atol=1.0)
    deep_rgb = cv2.imencode(".png", np.repeat(shades[..., None], 3, axis=2))[1].tobytes()
    np.testing.assert_allclose(read_photo(deep_rgb).grey[10].astype(float), shades[10] / 257, rtol=0, atol=1)
    grey = read_photo(saved(picture().convert("L")))
    assert grey.bgr.shape == (64, 96, 3)
    clear = picture().convert("RGBA")
    clear.paste((0, 0, 0, 0), (0, 0, 48, 32))
    assert_patches(read_photo(saved(clear, "PNG")), ((255, 255, 255), *CORNERS_RGB[1:]))
    assert_patches(read_photo(saved(picture().quantize(8), "PNG")))


def test_cmyk_jpeg_is_not_a_negative() -> None:
    # Pillow writes Adobe's inverted form, as the programs do that make such files.
    assert_patches(read_photo(saved(picture().convert("CMYK"))), levels=20)


@pytest.mark.parametrize("kind", ["GIF", "WEBP", "PNG"])
def test_the_first_frame_of_an_animation_counts(kind: str) -> None:
    frames = [picture(), Image.new("RGB", (96, 64), "black")]
    assert_patches(read_photo(saved(frames[0], kind, save_all=True, append_images=frames[1:])), levels=25)


def test_one_pixel_and_panoramas_decode() -> None:
    assert read_photo(saved(Image.new("RGB", (1, 1)))).bgr.shape == (1, 1, 3)
    assert read_photo(saved(Image.new("RGB", (16000, 40)))).width == 16000


def test_plausible_focal_length_is_read_and_counts_as_camera_data() -> None:
    photo = read_photo(saved(picture(), exif=lens(FocalLengthIn35mmFilm=26, FocalLength=4.25, Make="Maker")))
    assert photo.f35_mm == 26.0
    assert photo.has_exif


@pytest.mark.parametrize(
    "tags",
    [
        {"FocalLengthIn35mmFilm": 0},
        {"FocalLengthIn35mmFilm": 6062},
        # Developer forums: 177 beside a lens of 3.99 mm, a tag that was scaled with the output's size.
        {"FocalLengthIn35mmFilm": 177, "FocalLength": 3.99},
        # A crop that kept the camera's tags: its sides are not in the ratio of the shot.
        {"FocalLengthIn35mmFilm": 26, "ExifImageWidth": 4000, "ExifImageHeight": 3000},
    ],
)
def test_focal_length_that_cannot_be_believed_is_unknown(tags: dict[str, object]) -> None:
    photo = read_photo(saved(picture(), exif=lens(Make="Maker", **tags)))
    assert photo.f35_mm is None
    assert photo.has_exif


def test_focal_length_survives_a_rotated_and_a_reduced_copy() -> None:
    tags = {"FocalLengthIn35mmFilm": 24, "FocalLength": 0, "ExifImageWidth": 4032, "ExifImageHeight": 2688}
    assert read_photo(saved(picture(), exif=lens(**tags))).f35_mm == 24.0
    assert read_photo(saved(picture(64, 96), exif=lens(**tags))).f35_mm == 24.0


def test_digital_zoom_explains_a_large_crop_factor() -> None:
    tags = {"FocalLengthIn35mmFilm": 104, "FocalLength": 4.25, "DigitalZoomRatio": 4.0}
    assert read_photo(saved(picture(), exif=lens(**tags))).f35_mm == 104.0


def test_a_bare_orientation_tag_or_broken_exif_is_no_camera_data() -> None:
    assert not read_photo(saved(picture(), exif=lens(Orientation=1))).has_exif
    assert not read_photo(saved(picture(), exif=b"Exif\x00\x00II*\x00\xff\xff\xff\xff")).has_exif
    assert not read_photo(saved(picture())).has_exif


def refused(source: Path | bytes) -> PhotoError:
    with pytest.raises(PhotoError, match=r"^[^\n]+: [^\n]+[;,] [^\n]+\.$") as caught:
        read_photo(source)
    return caught.value


def test_what_is_no_photo_says_so_in_one_line(tmp_path: Path) -> None:
    text = tmp_path / "letter.jpg"
    text.write_text("Dear workshop, the photo is attached.")
    empty = tmp_path / "empty.jpg"
    empty.touch()
    assert refused(tmp_path / "absent.jpg").kind == "missing"
    assert refused(tmp_path).kind == "unreadable"
    assert refused(text).kind == "unreadable"
    assert refused(empty).kind == "unreadable"
    assert "letter.jpg" in refused(text).message


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "HEIF"])
@pytest.mark.parametrize("left", [0.02, 0.5, 0.9])
def test_a_picture_that_ends_early_is_broken(kind: str, left: float) -> None:
    pillow_heif.register_heif_opener()
    noise = Image.fromarray(np.random.default_rng(1).integers(0, 255, (64, 96, 3), np.uint8))
    data = saved(noise, kind, **({} if kind == "PNG" else {"quality": 90}))
    assert refused(data[: max(16, int(left * len(data)))]).kind == "broken"


def test_a_thumbnails_end_is_not_taken_for_the_pictures() -> None:
    exif = lens(Make="Maker")
    whole = saved(picture(), exif=exif.tobytes() + saved(picture(16, 16)))
    assert whole.count(b"\xff\xd9") == 2
    assert read_photo(whole).width == 96
    assert refused(whole[:-100]).kind == "broken"


def test_bytes_after_the_end_do_no_harm() -> None:
    assert_patches(read_photo(saved(picture()) + b"\x00" * 64 + b"trailer"))


def png_header(width: int, height: int) -> bytes:
    def chunk(name: bytes, body: bytes) -> bytes:
        return len(body).to_bytes(4, "big") + name + body + zlib.crc32(name + body).to_bytes(4, "big")

    size = width.to_bytes(4, "big") + height.to_bytes(4, "big")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size + b"\x08\x02\x00\x00\x00") + chunk(b"IDAT", b"")


@pytest.mark.parametrize("size", [(12_000, 10_001), (20_000, 15_000), (2**30, 2**30)])
def test_a_huge_header_is_refused_before_anything_is_decoded(size: tuple[int, int]) -> None:
    # The file holds no pixel at all: whoever tried to decode it would call it broken.
    assert size[0] * size[1] > MAX_PIXELS
    assert refused(png_header(*size)).kind == "too-large"


def test_a_huge_jpeg_header_is_refused() -> None:
    data = bytearray(saved(Image.new("RGB", (64, 64))))
    at = data.index(b"\xff\xc0") + 5
    data[at : at + 4] = (15_000).to_bytes(2, "big") + (20_000).to_bytes(2, "big")
    assert refused(bytes(data)).kind == "too-large"
