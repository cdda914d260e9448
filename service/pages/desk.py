"""Where a page finds its job, ranks its evidence and puts it back."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any, cast

from fastapi import Depends, Request

from service.context import Context, context_of
from service.drafts import Drafts
from service.pages.evidence import evidence_of, faults_of
from service.pages.job import Job
from service.pages.plausible import Bounds, bounds_of
from service.pages.sentences import with_units
from service.pages.shelf import Shelf
from service.pages.working_photos import WorkingPhotos
from service.problems import Problem

Wire = dict[str, Any]


@dataclass(frozen=True)
class Desk:
    """What the pages of one running app share.

    Attributes
    ----------
    context : Context
    drafts : Drafts
        Jobs in progress.
    photos : WorkingPhotos
        The photos of those jobs, in memory only.
    bounds : dict of str to Bounds
        What is plausible in this catalogue.
    shelf : Shelf
        The catalogue as pages show it.
    """

    context: Context
    drafts: Drafts
    photos: WorkingPhotos
    bounds: dict[str, Bounds]
    shelf: Shelf

    @classmethod
    def of(cls, context: Context) -> "Desk":
        """Set up the desk of an app."""
        catalogue = context.catalogue
        return cls(context, Drafts(context.cases.engine), WorkingPhotos(), bounds_of(catalogue), shelf=Shelf(catalogue))

    def open_job(self, job: Job) -> str:
        """Start a job and return its id."""
        return self.drafts.create(job.to_wire())

    def job(self, job_id: str) -> Job:
        """Return a job.

        Raises
        ------
        Problem
            Where there is none of that id.
        """
        wire = self.drafts.document(job_id)
        if wire is None:
            raise _no_job()
        return Job.from_wire(wire)

    def change(self, job_id: str, edit: Callable[[Job], Job]) -> Job:
        """Replace a job by what ``edit`` makes of it and return the new one.

        Raises
        ------
        Problem
            Where there is none of that id.
        """
        try:
            return Job.from_wire(self.drafts.change(job_id, lambda wire: edit(Job.from_wire(wire)).to_wire()))
        except KeyError:
            raise _no_job() from None

    def standing(self, job_id: str) -> "Standing":
        """Return a job together with what its evidence says now."""
        return Standing(self, job_id, self.job(job_id))


@dataclass(frozen=True)
class Standing:
    """A job, and how it stands."""

    desk: Desk
    job_id: str
    job: Job

    @cached_property
    def evidence(self) -> Wire:
        """The contract's evidence of the job so far."""
        return evidence_of(self.job, self.desk.bounds)

    @cached_property
    def identification(self) -> Wire:
        """The contract's identification of that evidence, its sentences worded for a page."""
        return with_units(self.desk.context.identify(self.evidence))

    @cached_property
    def faults(self) -> dict[str, str]:
        """Answers that can't be right, and why."""
        return faults_of(self.job, self.desk.bounds)


def desk_of(request: Request) -> Desk:
    """Return the desk of the app that ``request`` came to; a FastAPI dependency."""
    state = request.app.state
    if not hasattr(state, "desk"):
        state.desk = Desk.of(context_of(request))
    return cast("Desk", state.desk)


AtDesk = Annotated[Desk, Depends(desk_of)]


def _no_job() -> Problem:
    return Problem("not-found", "This job is not kept here any more; jobs are let go after 30 days. Start a new one.")
