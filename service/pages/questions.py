"""Every question a page can ask: how a form puts it, how it is read out on the phone, what may be answered."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Kind = Literal["length", "choice", "text", "count", "mass", "inches"]


@dataclass(frozen=True)
class Question:
    """One question.

    Attributes
    ----------
    key : str
        The evidence's key in the contract.
    label : str
        For a form.
    say : str
        To be read out to a customer; ``{axle}`` stands for front or rear.
    how : str
        What to look at, and where people go wrong.
    kind : str
        What an answer is; lengths may carry their unit.
    options : sequence of (str, str)
        Values and words of a choice.
    tools : sequence of str
        Names in ``TOOLS`` of what a length may be measured with.
    part : {"rotor", "pads", "caliper", "car"}
        What has to be in sight.
    """

    key: str
    label: str
    say: str
    how: str
    kind: Kind = "length"
    options: Sequence[tuple[str, str]] = ()
    tools: Sequence[str] = ()
    part: Literal["rotor", "pads", "caliper", "car"] = "rotor"


TOOLS: Mapping[str, str] = {
    "caliper": "with a caliper",
    "micrometer": "with a micrometer",
    "tape": "with a tape",
    "rule": "with a rule",
    "told": "told by somebody",
}
SURFACES = (
    ("plain", "Plain: smooth all round"),
    ("slotted", "Slotted: long thin grooves"),
    ("drilled", "Drilled: holes right through"),
    ("dimpled", "Dimpled: shallow dents, no way through"),
    ("drilled+slotted", "Holes and grooves"),
    ("dimpled+slotted", "Dents and grooves"),
)
_HAND_TOOLS = ("caliper", "tape", "rule", "told")

_ALL = (
    Question(
        "rotor_mark",
        "Number on the rotor",
        "Is there a number cast or stamped on the {axle} rotor, on its hat or its rim? Please read it to me.",
        "Wipe the hat and the outer rim; a wire brush helps. A number on the part beats every measurement.",
        "text",
    ),
    Question(
        "pad_mark",
        "Number on the pad's back plate",
        "Is there a number on the metal back of the {axle} pads? Please read it to me.",
        "It is often printed or stamped on the steel side, away from the lining.",
        "text",
        part="pads",
    ),
    Question(
        "pad_shape_number",
        "Pad shape number",
        "Does the {axle} pad or its box carry a shape number, such as a D and some digits?",
        "A shape number names the back plate's outline. Write it as it stands.",
        "text",
        part="pads",
    ),
    Question(
        "wheel_in",
        "Wheel size, from the tyre's wall",
        "On the side of the tyre stands something like 235/45 R 18. What is the number after the R?",
        "The last number is the wheel's size in inches. A rotor must fit inside its wheel, so it rules out big ones.",
        "inches",
        part="car",
    ),
    Question(
        "surface",
        "The ring's surface",
        "Look at the shiny ring of the {axle} rotor. Is it smooth, or are there holes, dents or grooves in it?",
        "Push a wire or a toothpick into a hole: if it goes through, it is drilled; if it stops, it is dimpled.",
        "choice",
        SURFACES,
    ),
    Question(
        "construction",
        "One piece or two",
        "Is the middle of the {axle} rotor cast in one with the ring, or joined to it by bolts or rivets?",
        "A two-piece rotor has a row of bolts, pins or rivets round the joint, and often a middle of another metal.",
        "choice",
        (("one-piece", "One piece"), ("two-piece", "Two pieces, joined")),
    ),
    Question(
        "ventilation",
        "Vented or solid",
        "Look at the {axle} rotor from its edge. Is it one solid plate, or two plates with gaps between?",
        "Vented rotors show openings all round the edge.",
        "choice",
        (("vented", "Vented: gaps between two plates"), ("solid", "Solid: one plate")),
    ),
    Question(
        "thickness_mm",
        "Thickness of the ring",
        "Can you measure how thick the {axle} rotor's ring is where the pads rub?",
        "Measure inside the lip that the pads left at the outer edge: jaws that rest on the lip read too much. "
        "Several readings round the ring may stand side by side, with a ; between.",
        tools=("caliper", "micrometer", "rule", "told"),
    ),
    Question(
        "thickness_over",
        "The thickness was taken over",
        "Was the thickness taken where the pads rub, or at the unworn outer edge?",
        "The unworn lip still shows the new thickness; the swept face shows the wear.",
        "choice",
        (("swept", "The swept face, where the pads rub"), ("lip", "The unworn lip at the outer edge")),
    ),
    Question(
        "condition",
        "New or used",
        "Is the {axle} rotor new or has it been driven?",
        "A new rotor's thickness names it directly; a used one's may be a thicker rotor worn down.",
        "choice",
        (("new", "New"), ("used", "Used")),
    ),
    Question(
        "min_thickness_mark_mm",
        "Minimum thickness marked on the rotor",
        "Does the {axle} rotor carry a figure with MIN TH, in millimetres?",
        "Look on the hat or the rim for MIN TH or MINIMUM and a figure.",
        tools=(),
    ),
    Question(
        "mark_kind",
        "That figure is",
        "Does it say discard, or machine to?",
        "Some makers stamp where to throw it away, some how far it may be machined.",
        "choice",
        (("discard", "Where to discard it"), ("machine-to", "How far it may be machined")),
    ),
    Question(
        "diameter_mm",
        "Diameter across the ring",
        "How wide is the {axle} rotor from edge to edge?",
        "Through the middle, over the ring. A tape across a raised hat reads anything; use two straight edges or "
        "a tape round the rim.",
        tools=_HAND_TOOLS,
    ),
    Question(
        "circumference_mm",
        "Round the rim with a tape",
        "Can you lay a tape right round the {axle} rotor's rim and tell me the length?",
        "A tailor's tape or a strip of paper will do. It is about three times as exact as measuring across.",
        tools=(),
    ),
    Question(
        "height_mm",
        "Height over all, hat to ring",
        "How tall is the {axle} rotor when it lies flat, from the bench to the top of the hat?",
        "Ring flat on the bench, hat up; measure to the top of the hat.",
        tools=_HAND_TOOLS,
    ),
    Question(
        "centre_bore_mm",
        "Hole in the middle",
        "How wide is the hole in the middle of the {axle} rotor?",
        "Inside jaws of a caliper; clear the rust off first.",
        tools=_HAND_TOOLS,
    ),
    Question(
        "bolt_count",
        "Number of wheel bolts",
        "How many wheel bolts or nuts does the wheel have?",
        "Count the large holes of the hat; a small one for a screw doesn't count.",
        "count",
    ),
    Question(
        "bolt_circle_mm",
        "Bolt circle",
        "Do you know the wheel's bolt circle, such as 5 by 112?",
        "The circle through the middles of the bolt holes.",
        tools=_HAND_TOOLS,
    ),
    Question(
        "ring_inner_mm",
        "Inner edge of the ring",
        "How wide is the inner edge of the shiny ring?",
        "Across the middle, where the ring stops and the hat begins.",
        tools=_HAND_TOOLS,
    ),
    Question("hat_mm", "Width of the hat", "How wide is the raised middle?", "Across its outside.", tools=_HAND_TOOLS),
    Question(
        "pad_height_mm",
        "Pad height",
        "How tall is the {axle} pad's steel plate, at its tallest?",
        "The steel plate, not the lining; from the inner to the outer curve.",
        tools=_HAND_TOOLS,
        part="pads",
    ),
    Question(
        "pad_length_mm",
        "Pad length",
        "How long is the {axle} pad's steel plate, at its longest?",
        "The steel plate, ears included.",
        tools=_HAND_TOOLS,
        part="pads",
    ),
    Question(
        "mass_kg",
        "Weight of the rotor",
        "Can you put the {axle} rotor on a scale?",
        "A bathroom scale will do: step on it with the rotor and without.",
        "mass",
    ),
    Question(
        "caliper_mount",
        "Caliper: floating or fixed",
        "Look at the {axle} caliper. Are there pistons on both sides of the rotor, or only on the inside?",
        "A fixed caliper is bolted tight and has pistons on both sides; a floating one slides on two pins.",
        "choice",
        (("floating", "Floating: slides, pistons inside only"), ("fixed", "Fixed: pistons on both sides")),
        part="caliper",
    ),
    Question(
        "pistons",
        "Number of pistons",
        "How many pistons does the {axle} caliper have, both sides together?",
        "Count the round bulges of the caliper's body.",
        "count",
        part="caliper",
    ),
    Question(
        "parking_brake",
        "Parking brake",
        "How does the parking brake work at the {axle}?",
        "A drum inside the rotor's hat, a cable at the caliper, or a motor on it.",
        "choice",
        (
            ("none", "None at this axle"),
            ("drum-in-hat", "A small drum inside the hat"),
            ("cable", "A cable at the caliper"),
            ("electric", "A motor on the caliper"),
        ),
        part="caliper",
    ),
)
QUESTIONS: Mapping[str, Question] = {question.key: question for question in _ALL}

CAR_QUESTIONS: Mapping[str, Question] = {
    question.key: question
    for question in (
        Question(
            "vin",
            "Vehicle number (VIN)",
            "Please read me the vehicle's number, seventeen characters, from the papers or the windscreen's foot.",
            "It is checked for slips of the tongue and kept with the job; it is never guessed into a package.",
            "text",
            part="car",
        ),
        Question(
            "option_code",
            "Option code of the brakes",
            "Is there a sticker or a page in the service book with option codes? Please read me those for brakes.",
            "Codes from the build sheet or the service book, with a space between. They say what was built, "
            "not what is fitted now.",
            "text",
            part="car",
        ),
        Question(
            "built",
            "Month it was built",
            "Do you know the month the car was built, not first registered?",
            "Year and month, such as 2021-03. Packages change in mid-year.",
            "text",
            part="car",
        ),
    )
}

# What a look or a wipe of the hand settles, before anything is measured.
QUICK = ("rotor_mark", "pad_mark", "wheel_in", "surface", "construction", "ventilation", "caliper_mount", "pistons")
READINGS = {
    "Thickness and wear": ("condition", "thickness_mm", "thickness_over", "min_thickness_mark_mm", "mark_kind"),
    "Other sizes of the rotor": (
        "diameter_mm",
        "circumference_mm",
        "height_mm",
        "centre_bore_mm",
        "bolt_count",
        "bolt_circle_mm",
        "mass_kg",
    ),
    "The pads": ("pad_height_mm", "pad_length_mm", "pad_shape_number"),
    "The caliper": ("parking_brake",),
}


def question_of(key: str) -> Question | None:
    """Return the question of an evidence key, or None where pages don't ask it."""
    return QUESTIONS.get(key) or CAR_QUESTIONS.get(key)


def evidence_words(key: str) -> str:
    """Return what a piece of evidence is called on a page."""
    question = question_of(key)
    return question.label if question else key.removesuffix("_mm").replace("_", " ").capitalize()
