"""Moments of courses: the chance of all that was seen after the repairs, against a sum over every branch."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from faultodds.errors import FaultoddsError
from faultodds.tuning.arrays import arrays_of
from faultodds.tuning.courses import Course, chances, moments_of, read_course, sights_of, tally
from faultodds.tuning.structure import Structure
from rich_toy import rich_structure

COURSES = [
    Course((0, 1), 1, (0.0, 1.0), 1),
    Course((0, 1), 0, (1.0, 0.0), 0),
    Course((1, 0), 2, None, -1),
    Course((1,), 0, (0.7, 0.3), 0),
    Course((), 0, (0.0, 1.0), 1),
]


def _by_branches(structure: Structure, course: Course) -> np.ndarray:
    """(H,) the same chance as a sum over which of the repairs took."""
    arrays = arrays_of(structure, structure.families.prior)
    sights = sights_of(structure, arrays)
    total = np.zeros(len(structure.left))
    for took in itertools.product((False, True), repeat=len(course.repairs)):
        at = np.arange(len(total))
        chance = np.ones(len(total))
        for number, (repair, takes) in enumerate(zip(course.repairs, took, strict=True)):
            acts = structure.removal[repair][at] != at
            success = arrays.success[repair]
            chance *= np.where(acts, success if takes else 1.0 - success, 1.0 if takes else 0.0)
            at = np.where(takes, structure.removal[repair][at], at)
            if number < course.failed:
                chance *= sights.bad[at]
        if course.after is not None:
            chance *= sights.run[at, : len(course.after)] @ np.array(course.after)
        if course.back >= 0:
            chance *= sights.back[at] if course.back else 1.0 - sights.back[at]
        total += chance
    return total


def test_chances_are_sums_over_branches() -> None:
    """Backwards through shared moments, or forwards through every branch: the same."""
    s = rich_structure()
    arrays = arrays_of(s, s.families.prior)
    moments, first = moments_of(COURSES, s.layout.widest)
    found = chances(s, moments, arrays, sights_of(s, arrays))[first]
    expected = np.array([_by_branches(s, course) for course in COURSES])
    np.testing.assert_allclose(found, expected, rtol=1e-5, atol=1e-7)


def test_courses_that_end_alike_share_their_moments() -> None:
    """Two courses with the same end have one; every moment leads to one with a smaller number."""
    moments, first = moments_of([COURSES[0], COURSES[4], COURSES[0]], 2)
    assert moments.ends == 1
    assert first[0] == first[2]
    assert all((step.then < step.first).all() and len(set(step.then)) == len(step.then) for step in moments.steps)


def test_only_reached_moments_are_kept() -> None:
    """Moments that no job of a part comes through go; those that are left have the same chances."""
    s = rich_structure()
    arrays = arrays_of(s, s.families.prior)
    moments, first = moments_of(COURSES, s.layout.widest)
    begin, fewer = moments.reached(first[[2, 3]])
    assert fewer.count < moments.count
    whole = chances(s, moments, arrays, sights_of(s, arrays))[first[[2, 3]]]
    assert chances(s, fewer, arrays, sights_of(s, arrays))[begin] == pytest.approx(whole)


def test_every_job_is_tallied_once() -> None:
    """Jobs that flow through the moments all arrive at an end, and every repair that acts takes or fails."""
    s = rich_structure()
    arrays = arrays_of(s, s.families.prior)
    sights = sights_of(s, arrays)
    moments, first = moments_of(COURSES, s.layout.widest)
    chance = chances(s, moments, arrays, sights)
    jobs = np.zeros_like(chance)
    jobs[first] = np.where(chance[first] > 0, 1.0, 0.0)
    sent = jobs[first].sum(axis=1)
    known = [i for i, course in enumerate(COURSES) if course.back >= 0]
    acting = sum(
        jobs[first[i]][s.acting[course.repairs[0]].suspects].sum() for i, course in enumerate(COURSES) if course.repairs
    )
    found = tally(s, moments, chance, jobs, arrays, sights.bad)
    assert found.back.sum() == pytest.approx(sent[known].sum(), rel=1e-5)
    assert found.success.sum() >= acting - 1e-3


def test_failed_repairs_come_first() -> None:
    """A log that says a later repair failed before an earlier one is refused, with both cells."""
    s = rich_structure()
    one, two = list(s.knowledge.repair)[:2]
    with pytest.raises(FaultoddsError, match=f"found '{two}' beside repairs '{one};{two}'"):
        read_course(s, f"{one};{two}", two, "", -1)
