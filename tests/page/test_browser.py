"""The page in a real browser: Debian's Chromium, headless. Skipped where there is none."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

playwright = pytest.importorskip("playwright.sync_api")

BROWSERS = ("chromium-headless-shell", "chromium", "google-chrome")
SIZES = {"phone": (320, 640), "desktop": (1280, 860)}

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if found is None:
        pytest.skip("no Chromium here")
    camera = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=found, args=["--no-sandbox", *camera])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A page that is really served, on loopback."""
    import uvicorn

    from litlamp.page.server import create_app
    from litlamp.page.settings import Settings

    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        app = create_app(Settings(tmp_path_factory.mktemp("browser")))
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="on"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        until = time.monotonic() + 20
        while not server.started and time.monotonic() < until:
            time.sleep(0.05)
        yield f"http://localhost:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join(20)


@pytest.fixture(params=SIZES)
def tab(chromium: Any, address: str, request: pytest.FixtureRequest) -> Iterator[Any]:
    """A tab of that size. Whatever the browser complains of fails the test: a blocked script, a lost file."""
    width, height = SIZES[request.param]
    context = chromium.new_context(
        viewport={"width": width, "height": height}, base_url=address, permissions=["camera"]
    )
    context.set_default_timeout(30_000)
    tab = context.new_page()
    complaints: list[str] = []
    tab.on(
        "console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None
    )
    tab.on("pageerror", lambda error: complaints.append(str(error)))
    tab.on(
        "response", lambda got: complaints.append(f"{got.status} {got.url}") if got.status >= 500 else None
    )
    outside: list[str] = []
    tab.on(
        "request",
        lambda asked: None if asked.url.startswith((address, "blob:")) else outside.append(asked.url),
    )
    yield tab
    assert complaints == []
    assert outside == []
    context.close()


def fits(tab: Any) -> None:
    """Nothing goes over the side, the caution is to be seen, every picture has come."""
    tab.wait_for_load_state("load")  # before its style sheet has come a page may be of any width
    wide = tab.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide[0] <= wide[1]
    assert "Never act on it" in tab.inner_text(".caution")
    assert tab.evaluate(
        "[...document.images].every(i => i.loading === 'lazy' || (i.complete && i.naturalWidth > 0))"
    )


def read(tab: Any, picture: Path) -> None:
    tab.goto("/")
    tab.set_input_files("#file", picture)
    tab.wait_for_selector(".reading")


@pytest.fixture
def staggered(root: Path) -> Path:
    return root / "samples" / "brindle-staggered-red.jpg"


def test_read_light_up_zoom_and_correct(tab: Any, staggered: Path) -> None:
    read(tab, staggered)
    fits(tab)
    step = tab.get_by_role("button", name="Lower head:")
    step.focus()
    tab.keyboard.press("Space")
    assert step.get_attribute("aria-pressed") == "true"
    assert tab.eval_on_selector_all(".mark.on", "marks => marks.map(m => m.id)") == ["s1head2"]
    assert tab.evaluate(
        "(() => { const r = document.querySelector('#s1head2').getBoundingClientRect();"
        " return r.top >= 0 && r.bottom <= innerHeight; })()"
    )
    near = tab.get_attribute(".zoom svg", "viewBox")
    tab.get_by_role("button", name="Whole").click()
    assert tab.get_attribute(".zoom svg", "viewBox") == "0 0 960 1280"
    tab.get_by_role("button", name="Signal", exact=True).click()
    assert tab.get_attribute(".zoom svg", "viewBox") == near
    tab.get_by_text("Correct it by hand").click()
    for kind in ("A", "R", "L", "DV"):
        tab.select_option(f"#s1plate{kind}", "no")
    tab.wait_for_selector(".changed >> text=There is no DV plate")
    assert "Stop and Proceed" in tab.inner_text(".reading")
    assert "with what you state it is Stop and Proceed" in tab.inner_text("#live")
    fits(tab)


def test_a_late_answer_does_not_undo_a_newer_one(tab: Any, staggered: Path) -> None:
    read(tab, staggered)
    tab.get_by_text("Correct it by hand").click()
    held: list[Any] = []

    def late(route: Any) -> None:
        if "plateDV" in route.request.url:
            route.continue_()
        else:
            held.append(route)

    tab.route("**/read/*?*", late)
    for kind in ("A", "DV"):
        tab.select_option(f"#s1plate{kind}", "no")
    tab.wait_for_selector(".changed >> text=There is no DV plate")
    assert len(held) == 1
    held[0].continue_()
    tab.wait_for_timeout(500)
    assert tab.is_visible(".changed >> text=There is no DV plate")
    assert "plateDV=no" in tab.url


def test_an_answer_that_stays_out_is_asked_for_once_more(tab: Any, staggered: Path) -> None:
    read(tab, staggered)
    tab.get_by_text("Correct it by hand").click()
    asked: list[str] = []

    def first_is_lost(route: Any) -> None:
        asked.append(route.request.url)
        if len(asked) > 1:
            route.continue_()

    tab.route("**/read/*?*", first_is_lost)
    tab.select_option("#s1plateA", "no")
    tab.wait_for_selector(".changed >> text=There is no A plate")
    assert len(asked) == 2 and asked[0] == asked[1]


def test_a_clip_is_recorded_and_read(tab: Any) -> None:
    tab.goto("/")
    tab.click("#record")
    tab.click("#shoot")
    tab.wait_for_selector(".source", timeout=60_000)
    assert "recording" in tab.inner_text(".source") and " s." in tab.inner_text(".source")
    fits(tab)


def test_a_dropped_and_a_pasted_picture(tab: Any, staggered: Path) -> None:
    import base64

    data = base64.b64encode(staggered.read_bytes()).decode()
    for event in ("drop", "paste"):
        tab.goto("/")
        tab.evaluate(
            """([event, data]) => {
                const bytes = Uint8Array.from(atob(data), c => c.charCodeAt(0));
                const held = new DataTransfer();
                held.items.add(new File([bytes], 'held.jpg', { type: 'image/jpeg' }));
                document.dispatchEvent(event === 'drop'
                    ? new DragEvent('drop', { dataTransfer: held, bubbles: true })
                    : new ClipboardEvent('paste', { clipboardData: held, bubbles: true }));
            }""",
            [event, data],
        )
        tab.wait_for_selector(".reading")


def test_several_files_become_several_answers(tab: Any, root: Path) -> None:
    tab.goto("/")
    names = ["brindle-staggered-red.jpg", "alder_vale.md", "hartsmere-home-red.jpg"]
    tab.set_input_files("#file", [root / "samples" / name for name in names])
    tab.wait_for_selector("text=3 files sent")
    assert tab.locator("#batch li").count() == 3
    fits(tab)
    tab.get_by_role("link", name=names[2]).click()
    tab.wait_for_selector(".reading")


def test_learn_follows_the_controls(tab: Any) -> None:
    tab.goto("/learn")
    fits(tab)
    tab.select_option("#lcolour1", "red")
    tab.select_option("#lcolour2", "")
    tab.wait_for_selector("#says:has-text('Stop and Proceed')")
    tab.get_by_label("R plate").check()
    tab.wait_for_selector("#says:has-text('Restricting')")
    assert "Restricting" in tab.inner_text("#live")
    tab.wait_for_selector("text=The R plate is not noticed")
    tab.fill("#words", "flashing yellow over red")
    tab.keyboard.press("Enter")
    tab.wait_for_selector("#says:has-text('Advance Clear to Stop')")
    fits(tab)


def test_practise_by_keyboard(tab: Any) -> None:
    tab.goto("/practise")
    tab.get_by_label("flashing lamps").check()
    tab.get_by_role("button", name="Ask me").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_selector("#rule")
    fits(tab)
    tab.select_option("#rule", "405")
    tab.get_by_role("button", name="Answer").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_selector(".verdict")
    fits(tab)
    tab.goto("/practise")
    assert "405" in tab.inner_text("table")


def test_keep_and_find(tab: Any, staggered: Path) -> None:
    read(tab, staggered)
    tab.get_by_text("Correct it by hand").click()
    tab.select_option("#s1plateA", "yes")
    tab.wait_for_selector(".changed")
    tab.get_by_text("Keep it in your collection").click()
    tab.fill("#s1note", "seen from the lane")
    tab.get_by_role("button", name="Keep it").click()
    tab.wait_for_selector("text=Stated by hand")
    assert "There is an A plate" in tab.inner_text("main")
    tab.goto("/keep")
    tab.fill("#find", "lane")
    with tab.expect_navigation():  # the page before shows that note too
        tab.keyboard.press("Enter")
    tab.wait_for_selector("text=seen from the lane")
    fits(tab)
    with tab.expect_download() as saved:
        tab.get_by_role("link", name="Export as ZIP").click()
    assert saved.value.suggested_filename == "litlamp-collection.zip"
    tab.goto("/keep/sheet")
    fits(tab)


def test_without_script_a_photo_is_read(chromium: Any, address: str, staggered: Path) -> None:
    context = chromium.new_context(java_script_enabled=False, base_url=address)
    tab = context.new_page()
    tab.goto("/")
    tab.set_input_files("#file", staggered)
    tab.get_by_role("button", name="Read it").click()
    tab.wait_for_selector(".reading")
    tab.get_by_role("link", name="Lower head:").click()
    assert tab.url.endswith("#s1head2")
    tab.get_by_text("Correct it by hand").click()
    tab.select_option("#s1mount", "dwarf")
    tab.get_by_role("button", name="Read again").click()
    tab.wait_for_selector("text=It is a dwarf")
    context.close()


def test_every_view_can_be_reached_by_keyboard(tab: Any) -> None:
    tab.goto("/")
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.className") == "skip"
    names = []
    for _ in range(5):
        tab.keyboard.press("Tab")
        names.append(tab.evaluate("document.activeElement.textContent"))
    assert names == ["litlamp", "Read", "Learn", "Practise", "Keep"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_accessibility(
    chromium: Any, address: str, staggered: Path, scheme: str, tell: Callable[..., None]
) -> None:
    """Axe finds nothing serious on any view, at a phone's size, in both schemes."""
    if find_spec("axe_playwright_python") is None:
        pytest.skip("no axe here")
    from axe_playwright_python.sync_playwright import Axe

    context = chromium.new_context(
        viewport={"width": 360, "height": 740}, base_url=address, color_scheme=scheme
    )
    tab = context.new_page()
    axe = Axe()
    found: list[str] = []

    def look() -> None:
        tab.wait_for_load_state("load")
        for wrong in axe.run(tab).response["violations"]:
            for node in wrong["nodes"]:
                found.append(f"{tab.url.split('/', 3)[3]}: {wrong['impact']} {wrong['id']} {node['target']}")

    for path in ("/", "/learn?words=flashing+yellow+over+red,+R+plate", "/practise", "/keep", "/nowhere"):
        tab.goto(path)
        look()
    read(tab, staggered)
    for summary in tab.locator("main summary").all():
        summary.click()
    tab.select_option("#s1plateA", "yes")
    tab.wait_for_selector(".changed")
    look()
    tab.goto("/practise")
    tab.get_by_role("button", name="Ask me").click()
    tab.wait_for_selector("#rule")
    look()
    tab.select_option("#rule", "405")
    tab.get_by_role("button", name="Answer").click()
    tab.wait_for_selector(".verdict")
    look()
    tab.goto("/practise")
    look()
    context.close()
    tell(found)
    assert [one for one in found if " serious " in one or " critical " in one] == []


@pytest.fixture
def tell() -> Callable[..., None]:
    """Print what was found, serious or not."""
    return lambda found: print(*found, sep="\n")
