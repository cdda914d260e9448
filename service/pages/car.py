"""At the car: what is wanted, quick looks, then a photo and readings, each step free to skip and to come back to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import cast

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse

from service.pages.answers import Ranked, next_checks_of, ranked_of
from service.pages.desk import AtDesk, Standing
from service.pages.forms import VIN, Field, fields_of, places_of, take_answers, take_wanted
from service.pages.frame import go_to, show_page
from service.pages.job import Answer, Entrance, Job, question_id
from service.pages.questions import CAR_QUESTIONS, QUICK, READINGS, question_of
from service.pages.read_back import is_said_anew

router = APIRouter()
SHOWN_LOOKS = 4
SHOWN_WAYS = 4
SEEN_ON_THE_BENCH = ("rotor_mark", "surface", "construction", "ventilation")
UNFOLDED = "Thickness and wear"
PAPERS = "From the papers: option code, build month, vehicle number"
_PAPER_PLACES = [f"car.{key}" for key in CAR_QUESTIONS]
_AXLES = (
    ("front", "Front"),
    ("rear", "Rear"),
    ("both", "Front and rear"),
    ("unknown", "I have a part, but don't know which axle it is from"),
)
_PARTS = (("rotor", "Rotors"), ("pads", "Pads"), ("both", "Rotors and pads"))
_STEPS = (
    ("wanted", "Wanted"),
    ("vehicle/line", "Car"),
    ("looks", "Looks"),
    ("photo", "Photo"),
    ("readings", "Readings"),
    ("result", "Result"),
)


@dataclass(frozen=True)
class Step:
    """One step of the way, always open."""

    words: str
    address: str
    current: bool


@dataclass(frozen=True)
class WantedPage:
    """Context of ``wanted.html``."""

    title: str
    say: bool
    steps: Sequence[Step]
    axles: Sequence[tuple[str, str]]
    part_choices: Sequence[tuple[str, str]]
    axle: str
    parts: str


@dataclass(frozen=True)
class Group:
    """Fields that belong together; those that matter less wait folded up."""

    title: str
    fields: Sequence[Field]
    folded: bool


@dataclass(frozen=True)
class FieldsPage:
    """Context of ``looks.html`` and ``readings.html``."""

    job_id: str
    job: Job
    steps: Sequence[Step]
    groups: Sequence[Group]
    answer: Ranked


def steps_of(job_id: str, job: Job, current: str) -> list[Step]:
    """Return the steps of a job's way; the bench and the phone have shorter ones."""
    base = f"/jobs/{job_id}"
    if job.bench:
        return [
            Step("All rotors", f"/jobs/{job.bench}/bench", False),
            *(Step(words, f"{base}/{name}", name == current) for name, words in (_STEPS[1], *_STEPS[4:])),
        ]
    steps = _STEPS
    if job.entrance == "phone":
        steps = (*_STEPS[:2], ("ask", "Ask"), *_STEPS[3:])
    return [Step(words, f"{base}/{name}", name == current) for name, words in steps]


@router.get("/car")
def start_at_the_car(request: Request) -> HTMLResponse:
    """Ask what is wanted."""
    return show_page(request, "wanted.html", _wanted_page(Job(entrance="car", axle="", parts=""), ()))


@router.get("/phone")
def start_on_the_phone(request: Request) -> HTMLResponse:
    """Ask what is wanted, in words to be read out."""
    return show_page(request, "wanted.html", _wanted_page(Job(entrance="phone", axle="", parts=""), ()))


@router.post("/car")
@router.post("/phone")
async def begin(request: Request, desk: AtDesk) -> RedirectResponse:
    """Open a job."""
    entrance = cast("Entrance", request.url.path.removeprefix("/"))
    form = await form_of(request)
    job_id = desk.open_job(take_wanted(Job(entrance=entrance), form))
    answer = go_to(f"/jobs/{job_id}/vehicle/line")
    answer.set_cookie("job", job_id, max_age=30 * 86400, httponly=True, samesite="lax")
    return answer


@router.get("/jobs/{job_id}/wanted")
def wanted(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Show what is wanted, to be changed."""
    job = desk.job(job_id)
    return show_page(request, "wanted.html", _wanted_page(job, steps_of(job_id, job, "wanted")))


@router.post("/jobs/{job_id}/wanted")
async def change_wanted(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Change what is wanted."""
    form = await form_of(request)
    desk.change(job_id, lambda job: take_wanted(job, form))
    return go_to(f"/jobs/{job_id}/vehicle/line")


@router.get("/jobs/{job_id}/looks")
def looks(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Ask what a look settles, what settles most for this car first."""
    standing = desk.standing(job_id)
    places = places_of(standing.job, _by_gain(standing, QUICK))
    shown = SHOWN_LOOKS * len(standing.job.axles)
    groups = [
        _group(standing, "", places[:shown]),
        _group(standing, "More to look at", places[shown:], folded=True),
        _group(standing, PAPERS, _PAPER_PLACES, folded=True),
    ]
    return show_page(request, "looks.html", _fields_page(standing, "looks", groups))


@router.post("/jobs/{job_id}/looks")
async def take_looks(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Take the looks' answers and go on: to the result once every part is settled, else to the photo."""
    form = await form_of(request)
    standing, open_at = take_form(desk, job_id, form)
    if open_at:
        return go_to(f"/jobs/{job_id}/looks#{open_at}")
    settled = standing.identification["verdict"] == "ready"
    return go_to(f"/jobs/{job_id}/{'result' if settled else 'photo'}")


@router.get("/jobs/{job_id}/readings")
def readings(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Ask for readings taken by hand."""
    standing = desk.standing(job_id)
    job, helps = standing.job, _helpful(standing)
    groups = [_group(standing, "What would help most", helps)]
    if job.bench:
        groups.append(_group(standing, "What can be seen", places_of(job, SEEN_ON_THE_BENCH)))
    for title, keys in READINGS.items():
        rest = [place for place in places_of(job, keys) if place not in helps]
        groups.append(_group(standing, title, rest, folded=title != UNFOLDED))
    if job.bench:
        groups.append(_group(standing, PAPERS, _PAPER_PLACES, folded=True))
    return show_page(request, "readings.html", _fields_page(standing, "readings", groups))


@router.post("/jobs/{job_id}/readings")
async def take_readings(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Take readings and show the result, or the form again where one can't be right."""
    form = await form_of(request)
    _, open_at = take_form(desk, job_id, form)
    return go_to(f"/jobs/{job_id}/{f'readings#{open_at}' if open_at else 'result'}")


async def form_of(request: Request) -> dict[str, str]:
    """Return a form's text fields."""
    async with request.form() as form:
        return {name: value for name, value in form.items() if isinstance(value, str)}


def take_form(desk: AtDesk, job_id: str, form: Mapping[str, str]) -> tuple[Standing, str]:
    """Take the answers; return how the job stands, and the first answer that needs another look, empty where none."""
    before = desk.job(job_id).answers.get(VIN, Answer()).text
    desk.change(job_id, lambda job: take_answers(job, form))
    standing = desk.standing(job_id)
    wrong = [place for place in form if place in standing.faults]
    unread = [VIN] if is_said_anew(before, form.get(VIN, "")) else []
    return standing, next(iter([*wrong, *unread]), "")


def _by_gain(standing: Standing, keys: Sequence[str]) -> list[str]:
    """Return ``keys`` with what settles most for this car first; the rest keep their order."""
    gains = {check["check"]: check["gain_bits"] for check in reversed(standing.identification["next_checks"])}
    return sorted(keys, key=lambda key: -gains.get(key, 0.0))


def _helpful(standing: Standing) -> list[str]:
    """Return where the answers to the next checks are kept, but for the looks that have their own page."""
    job = standing.job
    checks = next_checks_of(standing.identification)[:SHOWN_WAYS]
    places = [question_id(check.axle, check.key) for check in checks if question_of(check.key) is not None]
    seen = places_of(job, SEEN_ON_THE_BENCH if job.bench else QUICK)
    return [place for place in dict.fromkeys(places) if place not in seen]


def _group(standing: Standing, title: str, places: Sequence[str], *, folded: bool = False) -> Group:
    """Return a group of fields; one that holds an answer is never folded up."""
    fields = fields_of(standing.job, places, standing.faults, standing.desk.bounds)
    return Group(title, fields, folded and not any(field.answer.text for field in fields))


def _fields_page(standing: Standing, current: str, groups: Sequence[Group]) -> FieldsPage:
    return FieldsPage(
        job_id=standing.job_id,
        job=standing.job,
        steps=steps_of(standing.job_id, standing.job, current),
        groups=groups,
        answer=ranked_of(standing.identification, 4),
    )


def _wanted_page(job: Job, steps: Sequence[Step]) -> WantedPage:
    on_the_phone = job.entrance == "phone"
    return WantedPage(
        title="What does the customer want?" if on_the_phone else "What do you want?",
        say=on_the_phone,
        steps=steps,
        axles=_AXLES,
        part_choices=_PARTS,
        axle=job.axle,
        parts=job.parts,
    )
