"""What a test does on a page, and what it waits for.

However slow the machine is: nothing is read from a page that may be on its way to another, and no second is counted.
"""

from collections.abc import Callable

from playwright.sync_api import Page, expect

from tests.browser.looks import SIZES

PATIENCE = 60_000
"""Milliseconds after which a condition is taken for one that never comes true."""


def leaves(page: Page, act: Callable[[], object]) -> None:
    """Do what opens another page, and wait until that page is loaded and its code has run."""
    with page.expect_navigation():
        act()


def follow(page: Page, name: str) -> None:
    """Follow a link of the head; on a phone the others are behind the button 'Menu'."""
    menu, link = page.get_by_role("button", name="Menu"), page.get_by_role("link", name=name, exact=True)
    expect(menu.or_(link).filter(visible=True).first).to_be_visible()
    if not link.is_visible():
        menu.click()
    leaves(page, link.click)


def no_sideways_scroll(page: Page, *others: str) -> None:
    """Wait until the page is whole, and fits in the width of the screen; so in the ``others``, by name of size."""
    was = page.viewport_size
    page.wait_for_load_state("load")
    for size in (was, *(dict(zip(("width", "height"), SIZES[other], strict=True)) for other in others)):
        page.set_viewport_size(size)
        page.wait_for_function(
            "document.documentElement && document.documentElement.scrollWidth <= innerWidth"
        )
    page.set_viewport_size(was)


def entered(page: Page, act: Callable[[], object]) -> None:
    """Do what stores an entry, and wait until the bench shows what follows from it."""
    before = page.locator("#bench").get_attribute("data-sequence")
    act()
    expect(page.locator(f'#bench:not([data-sequence="{before}"])')).to_be_visible()
