"""Templates and contexts know the same names: nothing undocumented is used, nothing documented is missing."""

from dataclasses import fields

import pytest
from jinja2 import meta, nodes

from halfsplit.workbench import capture_contexts, contexts, drain_contexts, scan_contexts
from halfsplit.workbench.rendering import environment

GIVEN = {"page", "person", "path", "accounts"}
"""What `rendering.render` gives to every template beside the fields of its context."""
PAGES = {
    "jobs.html": contexts.JobsPage,
    "intake.html": contexts.IntakePage,
    "_vin.html": contexts.VinNote,
    "_battery.html": contexts.BatteryNote,
    "circuit.html": contexts.CircuitPage,
    "_check.html": contexts.CheckFragment,
    "_drawn.html": contexts.CheckFragment,
    "taps.html": contexts.TapsPage,
    "_taps.html": contexts.TapsPage,
    "bench.html": contexts.BenchPage,
    "_bench.html": contexts.BenchPage,
    "_drawing_fragment.html": contexts.DrawingFragment,
    "report.html": contexts.ReportPage,
    "scan.html": scan_contexts.ScansPage,
    "scan_compare.html": scan_contexts.ComparePage,
    "scan_cause.html": scan_contexts.CausePage,
    "scan_live.html": scan_contexts.LivePage,
    "_scan_run.html": scan_contexts.RunFragment,
    "scan_clear.html": scan_contexts.ClearPage,
    "drain.html": drain_contexts.DrainPage,
    "captures.html": capture_contexts.CapturesPage,
    "capture.html": capture_contexts.CapturePage,
    "problem.html": contexts.ProblemPage,
    "sign_in.html": contexts.SignInPage,
    "owner.html": contexts.OwnerPage,
    "people.html": contexts.PeoplePage,
    "audit.html": contexts.AuditPage,
    "settings.html": contexts.SettingsPage,
    "practice.html": contexts.PracticePage,
    "practice_exercise.html": contexts.ExercisePage,
    "practice_end.html": contexts.EndPage,
    "_judged.html": contexts.EndPage,
    "plan.html": contexts.PlanPage,
    "_plan.html": contexts.PlanPage,
}
"""Template → the context that it is rendered from."""


def tree(name):
    made = environment()
    assert made.loader is not None
    return made.parse(made.loader.get_source(made, name)[0])


def names_of(name, seen=frozenset()):
    """The names that a template and everything it includes or extends take from their context."""
    parsed = tree(name)
    found = meta.find_undeclared_variables(parsed)
    for other in meta.find_referenced_templates(parsed):
        if other and other not in seen:
            found |= names_of(other, seen | {name})
    return found - {"asset"}


def set_by(name, seen=frozenset()):
    """The names that a template, or one above it, sets for those that it includes."""
    environment()
    parsed = tree(name)
    own = {macro.name for macro in parsed.find_all(nodes.Macro)}
    for kind in (nodes.Assign, nodes.For):
        for node in parsed.find_all(kind):
            target = node.target
            own |= {target.name} if isinstance(target, nodes.Name) else {one.name for one in target.items}
    for other in meta.find_referenced_templates(parsed):
        if other and other not in seen:
            own |= set_by(other, seen | {name})
    return own


@pytest.mark.parametrize("template", PAGES)
def test_a_template_names_nothing_that_its_context_does_not_have(template):
    known = {one.name for one in fields(PAGES[template])} | GIVEN | set(environment().globals)
    assert names_of(template) - set_by(template) - known == set()


@pytest.mark.parametrize("context", sorted(set(PAGES.values()), key=lambda kind: kind.__name__))
def test_a_context_has_nothing_that_no_template_names(context):
    used = set().union(*(names_of(name) for name, kind in PAGES.items() if kind is context))
    assert {one.name for one in fields(context)} - used == set()


def test_every_template_is_a_page_or_part_of_one():
    made = environment()
    reached = set(PAGES)

    def walk(name):
        for other in meta.find_referenced_templates(tree(name)):
            if other and other not in reached:
                reached.add(other)
                walk(other)

    for name in PAGES:
        walk(name)
    assert set(made.list_templates()) == reached
