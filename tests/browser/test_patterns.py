"""Patterns in the editor: one is put into the text, and what was there stays."""

import re

import pytest
from playwright.sync_api import expect

from halfsplit.notation.library import samples
from tests.browser.conftest import LAMP

pytestmark = pytest.mark.requires("chromium", "bundle")


def test_the_editor_offers_every_pattern_and_inserts_the_chosen_one(open_page):
    page = open_page()
    page.goto("/jobs/lamp/circuit")
    offered = page.locator("#insert option").evaluate_all("all => all.map(one => one.value).filter(Boolean)")
    assert [one.strip() for one in offered] == [one.text.strip() for one in samples()]
    chosen = next(one for one in samples() if one.name == "power-socket")
    page.locator("#text").press("Control+End")
    page.locator("#insert").select_option(label=chosen.title)
    expect(page.locator("#text")).to_have_value(re.compile(re.escape(chosen.text.strip())))
    expect(page.locator("#text")).to_have_value(re.compile(re.escape(LAMP.strip())))
    # Both have a G1: that is told, with the line, and nothing is taken away.
    expect(page.locator("#check .problems")).to_contain_text("G1")
