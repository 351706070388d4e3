"""What people do in front of a page, each act as one function, so that the tests read as the job does."""

from playwright.sync_api import Locator, Page, expect

from fleet.registry.models import Device
from fleet.registry.queries import label_token
from tests.builders import PASSWORD

PHONE = {"width": 390, "has_touch": True, "is_mobile": True}


def sign_in(page: Page, username: str) -> None:
    """Type name and password on the first page that is asked for."""
    page.goto("/")
    page.locator("[name=username]").fill(username)
    page.locator("[name=password]").fill(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def open_label(page: Page, device: Device) -> None:
    """Scan the code on the driver's label."""
    page.goto(f"/r/{label_token(device)}/")


def tap(page: Page, question: str, answer: str) -> None:
    """Answer a question that is answered by one tap."""
    page.get_by_role("group", name=question).get_by_text(answer, exact=True).tap()


def report(phone: Page, what: str, *, harm: str, alert: str = "") -> str:
    """Report a fault: three taps, three lines, the button; two taps more for an alert. Give the tag's number."""
    tap(phone, "Was anyone harmed", harm)
    tap(phone, "What happened?", what)
    tap(phone, "Was it connected to a patient?", "No")
    phone.get_by_label("Where is it now?").fill("Ward 4, bed 3")
    phone.get_by_label("Who reports?").fill("Nora Teasdale")
    phone.get_by_label("How to reach you").fill("bleep 4411")
    if alert:
        phone.locator("details.more summary").tap()
        tap(phone, "What it alerted to", alert)
    phone.get_by_role("button", name="Tag this driver").tap()
    return phone.locator(".ident-big").inner_text()


def type_in(page: Page, text: str) -> None:
    """Type where the focus stands, as a scanner does, and press Enter."""
    page.keyboard.type(f"{text}\n")  # in one command, so that Enter follows as fast as a scanner's


def scan(page: Page, code: str) -> Locator:
    """From the queue: scan a code. Gives the button that takes its driver in."""
    page.goto("/bench/")
    expect(page.locator("#code")).to_be_focused()
    type_in(page, code)
    button = page.locator("button[form=receive]")
    expect(button).to_be_visible()
    return button


def receive(page: Page, code: str, kind: str = "") -> None:
    """Scan a code and take its driver in with Enter, without the mouse."""
    button = scan(page, code)
    expect(button).to_be_focused()
    if kind:
        page.get_by_label("Here for").select_option(label=kind)
        button.focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/orders/**")


def answer_check(page: Page, step: int, key: str, note: str = "") -> None:
    """Answer a check by its letter; "n" leads to the note."""
    expect(page.get_by_text(f"Step {step} of")).to_be_visible()
    expect(page.get_by_label("Pass")).to_be_focused()
    page.keyboard.press(key)
    if note:
        expect(page.locator("#id_note")).to_be_focused()
    type_in(page, note)


def answer_reading(page: Page, step: int, value: str) -> None:
    """Type the value of a reading."""
    expect(page.get_by_text(f"Step {step} of")).to_be_visible()
    expect(page.get_by_label("Reading")).to_be_focused()
    type_in(page, value)


def answer_note(page: Page, step: int, words: str) -> None:
    """Write down what a step asks for."""
    expect(page.get_by_text(f"Step {step} of")).to_be_visible()
    expect(page.locator("#id_note")).to_be_focused()
    type_in(page, words)
    judge_note(page)


def judge_note(page: Page) -> None:
    """What was written is judged by the person: Enter leads to the verdict, since none is chosen for them."""
    expect(page.get_by_label("Pass")).to_be_focused()
    page.keyboard.press("p")
    page.keyboard.press("Enter")


def work_steps(page: Page, reading: str) -> None:
    """Work the four steps of `tests.bench.builders.STEPS` by keyboard; only the reading's value differs."""
    answer_check(page, 1, "p")
    answer_reading(page, 2, reading)
    answer_check(page, 3, "n", "came alone")
    answer_note(page, 4, "2.4.1")
    expect(page.get_by_role("link", name="Finish this order")).to_be_focused()


#: What some orders ask for at their end.
_CODES = {"What did this service come upon?": "Nothing found", "Did the work before cause this fault?": "No, it has"}


def finish(page: Page, outcome: int, found: str = "", *, stays: bool = False) -> None:
    """Finish the order that is open: its outcome by number, what was found, and go."""
    if not page.url.endswith("/finish/"):
        page.keyboard.press("g")
    page.wait_for_url("**/finish/")
    page.keyboard.press(str(outcome))
    expect(page.get_by_role("radio").nth(outcome - 1)).to_be_checked()
    if found:
        page.get_by_label("What was found").select_option(label=found)
    page.get_by_label("What you did").fill("Cleaned and set anew.")
    if stays:
        page.get_by_label("It stays on the bench for its other order").check()
    for question, answer in _CODES.items():
        if (choices := page.get_by_role("group", name=question)).count():
            choices.get_by_label(answer).check()
    page.get_by_label("Your password").fill(PASSWORD)
    page.get_by_role("button", name="Finish this order").focus()
    page.keyboard.press("Enter")
