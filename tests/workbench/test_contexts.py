"""Templates and contexts know the same names: nothing undocumented is used, nothing documented is missing."""

from dataclasses import fields
from functools import cache

import pytest
from jinja2 import meta, nodes

from halfsplit.workbench.bench import contexts as bench
from halfsplit.workbench.captures import contexts as captures
from halfsplit.workbench.circuit import diagram, harness, taps
from halfsplit.workbench.circuit import page as circuit
from halfsplit.workbench.drain import page as drain
from halfsplit.workbench.help import page as helping
from halfsplit.workbench.jobs import page as jobs
from halfsplit.workbench.learned import page as learned
from halfsplit.workbench.people import page as people
from halfsplit.workbench.plan import page as plan
from halfsplit.workbench.practice import page as practice
from halfsplit.workbench.problems import ProblemPage
from halfsplit.workbench.rendering import environment
from halfsplit.workbench.report import page as report
from halfsplit.workbench.scan import live
from halfsplit.workbench.scan import page as scan

GIVEN = {"page", "person", "path", "accounts"}
"""What `rendering.render` gives to every template beside the fields of its context."""
PAGES = {
    "jobs/jobs.html": jobs.JobsPage,
    "jobs/intake.html": jobs.IntakePage,
    "jobs/_vin.html": jobs.VinNote,
    "jobs/_battery.html": jobs.BatteryNote,
    "circuit/circuit.html": circuit.CircuitPage,
    "circuit/_check.html": circuit.CheckFragment,
    "circuit/_drawn.html": circuit.CheckFragment,
    "circuit/diagram.html": diagram.DiagramPage,
    "circuit/_marks.html": diagram.DiagramPage,
    "circuit/taps.html": taps.TapsPage,
    "circuit/harness.html": harness.HarnessPage,
    "circuit/_taps.html": taps.TapsPage,
    "bench/bench.html": bench.BenchPage,
    "bench/_bench.html": bench.BenchPage,
    "bench/_drawing_fragment.html": bench.DrawingFragment,
    "bench/_looks_fragment.html": bench.LooksFragment,
    "bench/sheet.html": bench.DrawingFragment,
    "help/help.html": helping.HelpPage,
    "report/report.html": report.ReportPage,
    "scan/scan.html": scan.ScansPage,
    "scan/scan_compare.html": scan.ComparePage,
    "scan/scan_cause.html": scan.CausePage,
    "scan/scan_live.html": live.LivePage,
    "scan/_scan_run.html": live.RunFragment,
    "scan/scan_clear.html": live.ClearPage,
    "drain/drain.html": drain.DrainPage,
    "captures/captures.html": captures.CapturesPage,
    "captures/capture.html": captures.CapturePage,
    "frame/problem.html": ProblemPage,
    "people/sign_in.html": people.SignInPage,
    "people/owner.html": people.OwnerPage,
    "people/people.html": people.PeoplePage,
    "people/audit.html": people.AuditPage,
    "people/settings.html": people.SettingsPage,
    "practice/practice.html": practice.PracticePage,
    "practice/practice_exercise.html": practice.ExercisePage,
    "practice/practice_end.html": practice.EndPage,
    "practice/_judged.html": practice.EndPage,
    "plan/plan.html": plan.PlanPage,
    "learned/learned.html": learned.LearnedPage,
    "plan/_plan.html": plan.PlanPage,
}
"""Template → the context that it is rendered from."""


@cache
def tree(name):
    made = environment()
    assert made.loader is not None
    return made.parse(made.loader.get_source(made, name)[0])


@cache
def names_in(name):
    """The names that a template takes from its context, without what it includes."""
    return meta.find_undeclared_variables(tree(name)) - {"asset", "styles"}


@cache
def set_in(name):
    """The names that a template sets for those that it includes."""
    parsed = tree(name)
    targets = [node.target for kind in (nodes.Assign, nodes.For) for node in parsed.find_all(kind)]
    names = [part for target in targets for part in getattr(target, "items", [target])]
    return {named.name for named in (*parsed.find_all(nodes.Macro), *names)}


@cache
def with_included(name):
    """The template and everything that it includes or extends, and so on."""
    reached, ahead = set(), [name]
    while ahead:
        reached.add(template := ahead.pop())
        ahead += {other for other in meta.find_referenced_templates(tree(template)) if other} - reached
    return reached


@pytest.mark.parametrize("template", PAGES)
def test_a_template_names_nothing_that_its_context_does_not_have(template):
    known = {one.name for one in fields(PAGES[template])} | GIVEN | set(environment().globals)
    whole = with_included(template)
    assert set().union(*map(names_in, whole)) - set().union(*map(set_in, whole)) - known == set()


@pytest.mark.parametrize("context", sorted(set(PAGES.values()), key=lambda kind: kind.__name__))
def test_a_context_has_nothing_that_no_template_names(context):
    pages = [name for name, kind in PAGES.items() if kind is context]
    used = {word for name in pages for part in with_included(name) for word in names_in(part)}
    assert {one.name for one in fields(context)} - used == set()


def test_every_template_is_a_page_or_part_of_one():
    assert set(environment().list_templates("html")) == set().union(*map(with_included, PAGES))
