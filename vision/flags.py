"""The one table of what may be said about a photo: refusals, which bring a remedy, and warnings."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Reason:
    """Why a photo is refused, and what a person can do about it."""

    code: str
    message: str
    remedy: str


@dataclass(frozen=True)
class Notice:
    """What widens an interval without spoiling it."""

    code: str
    message: str


REASONS = {
    reason.code: reason
    for reason in (
        Reason(
            "no-rotor",
            "No brake rotor was found in the photo.",
            "Take the photo square to the rotor's face, the whole rim in the picture, on a ground of another shade.",
        ),
        Reason(
            "no-reference",
            "Nothing of known size was found, so no length can be given.",
            "Lay a bank card, a printed face tag or a coin flat on the rotor's friction face and take the photo again, "
            "or name what is there.",
        ),
        Reason(
            "rim-out-of-frame",
            "Too little of the rim is in the picture.",
            "Step back until the whole rotor is in the picture.",
        ),
        Reason(
            "blurred",
            "The photo is too blurred for its edges to be placed.",
            "Hold the phone still, tap on the rotor to focus, and add light.",
        ),
        Reason(
            "too-oblique",
            "The rotor is seen too much from the side.",
            "Hold the phone more squarely above the rotor: 10 to 30 degrees of tilt is best.",
        ),
        Reason(
            "too-small",
            "The rim or the reference spans too few pixels.",
            "Go nearer, or send the photo in its original size.",
        ),
        Reason(
            "disagreement",
            "The reference's own shape, or two references, contradict each other.",
            "Lay the reference flat, check its printed size, and name its kind and where it lies.",
        ),
    )
}

NOTICES = {
    notice.code: notice
    for notice in (
        Notice(
            "reference-on-bench",
            "The reference lies lower than the rotor's face, by a thickness that nobody told and the photo hardly "
            "shows: tilt the camera about 25 degrees so that the wall shows, or measure the thickness.",
        ),
        Notice("oblique", "The rotor is seen at a slant; the interval is wider for it."),
        Notice("short-arc", "Only a part of the rim could be used; the interval is wider for it."),
        Notice("small-reference", "The reference is small in the picture; the interval is wider for it."),
        Notice(
            "focal-length-unknown",
            "The photo doesn't say its focal length; a spread of phone lenses is assumed.",
        ),
        Notice("print-unchecked", "The print's scale was not checked: 3 % is allowed for. Measure the check bar."),
        Notice("copy-without-exif", "The photo looks like a copy that lost its camera data, perhaps cropped."),
        Notice("two-tilts", "The rim fits two tilts almost equally well; the interval covers both."),
        Notice("soft", "The photo is soft; edges are placed less well and the interval is wider for it."),
        Notice(
            "lip-seen",
            "The silhouette at the outer edge is what is seen: the unworn lip, not the swept face.",
        ),
        Notice("rust-on-edge", "Rust on the edge may make the ring look thicker than it is."),
    )
}
