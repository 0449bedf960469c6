"""The customer's copy of the build sheet: what is on it, and what is never on it."""

import re
from pathlib import Path

import pytest

from benchflow.base.errors import BenchflowError
from benchflow.review.evidence.assessment import review_everything
from benchflow.review.evidence.weights import WEAK_POINT_KINDS
from benchflow.review.log.loaded_log import LoadedLog, load_log
from benchflow.review.sheets.build_sheet import build_sheet
from benchflow.review.sheets.build_sheet_markdown import customer_copy_markdown
from benchflow.review.sheets.customer_copy import CustomerCopy, customer_copy
from benchflow.review.sheets.customer_copy_html import customer_copy_html
from benchflow.review.sheets.fitted_parts import part_rows, removed_part_rows
from benchflow.review.sheets.letterhead import LetterheadOnSheet, letterhead_of, logo_data_uri
from benchflow.session.shop.register_reader import read_shop
from tests.driving.fault import Fault
from tests.driving.planted_faults import KINDS, build
from tests.driving.planted_faults import read as read_planted
from tests.driving.script import Json, Script, intent, open_intent, procedure_with
from tests.driving.session_driver import read_procedure
from tests.driving.simulated_builder import Faults
from tests.review.played_builds import FLOAT, folder, loaded_build, played, read

FAULTS = Faults(near_limit=FLOAT, self_signed="mark-nuts", reworked="fit-pulley", late="set-head-down")


def copy_of(log: LoadedLog) -> CustomerCopy:
    return customer_copy(log, build_sheet(log))


@pytest.fixture(scope="module")
def copy() -> CustomerCopy:
    return copy_of(loaded_build(3, FAULTS, with_tools=True))


def test_copy_has_deviations_in_plain_words_and_no_suspicion(copy: CustomerCopy) -> None:
    assert copy.deviations == (
        "Set the head down: deviation from the time window (11 min after "
        "“Put sealant on the four corners”, 48 s too late; limit at most 10 min). R. Builder signed it. "
        "Reason: The phone rang. The sealant still looked wet.",
    )
    page = customer_copy_html(copy)
    suspicions = {kind.title for kind in WEAK_POINT_KINDS} - {"deviation", "note"}
    assert [title for title in suspicions if title in page] == []
    assert "PIN" not in page


@pytest.mark.parametrize(("value", "suspected"), [("0.15 mm", False), ("0.1999 mm", True)])
def test_copy_says_that_there_are_no_deviations_only_if_the_review_suspects_nothing(
    tmp_path: Path, value: str, suspected: bool
) -> None:
    one = "{id: one, title: One, record: {gap: {ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm}}}"
    script = Script(tmp_path, procedure_with(one))
    script.do_all(open_intent(), intent("start", operation="one"), intent("record", name="gap", value=value))
    script.do_all(intent("finish"), intent("close"))
    log = loaded(script)
    assert bool(review_everything(log).suspects) == suspected
    copy = copy_of(log)
    assert (copy.deviations, copy.repairs, copy.not_done) == ((), (), ())
    for text in (customer_copy_html(copy), customer_copy_markdown(copy)):
        assert ("None." in text) != suspected
        assert ("Deviations" in text) != suspected


def test_used_part_and_state_found_are_on_the_sheets(tmp_path: Path) -> None:
    gap = "{ask: Gap, unit: mm, limit: 0.10 .. 0.20 mm, used: at most 0.30 mm}"
    state = "state: {lid: {values: [off, on], start: off}}\n"
    one = f"{{id: one, title: One, record: {{gap: {gap}}}}}"
    script = Script(tmp_path, procedure_with(one, "{id: fit, title: Fit it, sets: {lid: on}}", head=state))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(intent("record", name="gap", value="0.25 mm", used=True), intent("finish"))
    script.do_all(intent("set-state", variable="lid", value="on", reason="looked"))
    sheet = build_sheet(loaded(script))
    used, found = sheet.exceptions[0], sheet.exceptions[-1]
    assert used.startswith("1  One: used part: gap 0.25 mm, ok")
    assert "limit at most 0.30 mm for used parts (new parts: 0.10 .. 0.20 mm)" in used
    assert found.startswith("State found, ")
    assert found.endswith(": looked")
    (value,) = sheet.sections[0].operations[0].values
    assert value.limit == "at most 0.30 mm, used part (new: 0.10 .. 0.20 mm)"
    assert "used part (new: 0.10 .. 0.20 mm)" in customer_copy_markdown(copy_of(loaded(script)))


@pytest.mark.parametrize("kind", [KINDS[0], KINDS[-1]], ids=lambda kind: kind.__name__)
def test_sheet_and_review_agree_on_a_build_with_a_planted_fault(kind: type[Fault], tmp_path: Path) -> None:
    made = build(kind, "first-start", 7, tmp_path) or build(kind, "pipe-flange", 7, tmp_path)
    assert made is not None
    path, _, shop = made
    log = load_log(path, read_planted)
    sheet = build_sheet(log, shop)
    numbers = {line.split("  ")[0] for line in sheet.exceptions}
    found = review_everything(log, shop).suspects
    assert found
    assert {str(log.plan.number(one.operation)) for one in found if one.operation} <= numbers
    page = customer_copy_html(customer_copy(log, sheet))
    assert "None." not in page
    assert [reason.words for one in found for reason in one.reasons if reason.words in page] == []


def test_key_readings_have_figures_and_limits_in_both_units(copy: CustomerCopy) -> None:
    rows = {row.name: row for row in copy.readings}
    height = rows["Height of the pistons above the deck"]
    assert [place for place, _ in height.figures][:3] == ["1 front", "1 rear", "2 front"]
    assert (height.limit, height.verdict) == ("0.10 .. 0.60 mm", "ok")
    assert [place for place, _ in height.figures][-4:] == ["1 mean", "2 mean", "3 mean", "4 mean"]
    assert height.other_limit == "0.0039 .. 0.0236 in"  # 0.10 / 25.4 and 0.60 / 25.4
    assert rows["Torque to turn the engine"].other_limit == "at most 265.5 in-lb"  # 30 / 0.112985 (NIST SP 811, B.8)


def test_joints_are_named_once_with_their_stages_in_both_units(copy: CustomerCopy) -> None:
    joints = {joint.title: joint for joint in copy.joints}
    assert len(joints) == len(copy.joints) == 8
    head = joints["Head nuts"]
    assert head.stages[0] == "30 N·m (22 ft-lb), then 55 N·m (41 ft-lb), then +60°, then +45°"
    assert "lubricant by the procedure: stud lubricant" in head.about  # nobody entered one
    assert joints["Cam cap bolts"].times == 2


def test_copy_has_advice_follow_up_fingerprint_and_the_notice(copy: CustomerCopy) -> None:
    page = " ".join(customer_copy_html(copy).split())
    for words in (
        "Running in",
        "Change oil and filter",
        "It does not replace the maker's manual".replace("'", "&#39;"),
    ):
        assert words in page
    assert all(copy.head[start : start + 8] in page for start in range(0, 64, 8))


def test_copy_of_a_damaged_log_says_that_the_rest_is_not_known() -> None:
    damaged = folder() / "damaged-copy.jsonl"
    damaged.write_bytes(played(3, FAULTS, with_tools=True).read_bytes().replace(b'"fastener":3', b'"fastener":4', 1))
    copy = copy_of(load_log(damaged, read()))
    page = customer_copy_html(copy)
    assert "THE LOG OF THIS JOB IS DAMAGED" in page
    assert copy.not_done == ()
    assert "None." not in page


# --- parts ------------------------------------------------------------------------------------------

KIT = """kit:
  parts:
    gasket: {title: Gasket, lot: required, discard: true}
    sleeve: {title: Sleeve, lot: required}
    cams: {title: Cams, from: {by: cams-from}}
options: {cams-from: {ask: Who supplies the cams?, choices: [shop, customer]}}
handover: {Oil: Change it.}
"""
OPERATIONS = (
    "{id: lay, title: Lay the gasket, uses: [gasket, cams], undo: {do: Lift it, discard: [gasket]}}",
    "{id: bore, title: Bore, after: lay, record: {gap: {ask: Gap, handover: Gap of the bore, unit: mm, "
    "limit: at most 0.20 mm, above: [{do: Press in a sleeve, uses: [sleeve]}]}}, undo: {do: Nothing}}",
    "{id: face, title: Face it, after: bore, elsewhere: the machine shop}",
)


def job(folder: Path, supplier: str = "customer") -> Script:
    script = Script(folder, procedure_with(*OPERATIONS, head=KIT))
    script.do_all({**open_intent(), "options": {"cams-from": supplier}}, intent("start", operation="lay"))
    script.do_all(intent("lot", consumable="gasket", lot="G-1"), intent("finish"))
    return script


def loaded(script: Script) -> LoadedLog:
    return load_log(script.path, read_procedure)


def which(copy: CustomerCopy) -> dict[str, str]:
    return {part.title: part.which for part in copy.fitted}


def test_discarded_gasket_is_not_fitted_and_the_new_one_is(tmp_path: Path) -> None:
    script = job(tmp_path)
    assert which(copy_of(loaded(script))) == {"Gasket": "lot G-1"}
    script.do_all(intent("rework", operation="lay", reason="creased"))
    copy = copy_of(loaded(script))
    assert "Gasket" not in which(copy)
    assert "G-1" not in customer_copy_html(copy)
    assert copy.not_done[0] == "Lay the gasket"
    assert list(removed_part_rows(loaded(script))) == [("Gasket", "lot G-1", "Lay the gasket")]
    script.do_all(intent("start", operation="lay"), intent("lot", consumable="gasket", lot="G-2"), intent("finish"))
    assert which(copy_of(loaded(script))) == {"Gasket": "lot G-2"}


def test_remedy_is_a_repair_with_the_part_that_it_fitted(tmp_path: Path) -> None:
    script = job(tmp_path)
    script.do_all(intent("start", operation="bore"), intent("record", name="gap", value="0.3 mm"))
    script.do_all(intent("remedy", name="gap"), intent("lot", consumable="sleeve", lot="S-7"))
    script.do_all(intent("record", name="gap", value="0.1 mm"), intent("finish"))
    copy = copy_of(loaded(script))
    assert copy.repairs == ("Bore: Gap of the bore: Press in a sleeve (Sleeve)",)
    assert which(copy)["Sleeve"] == "lot S-7, for Gap"  # not the lot of all sleeves
    assert list(part_rows(loaded(script)))[-1] == ("Sleeve for Gap", "lot S-7", "Bore")


def test_parts_of_the_customer_and_work_elsewhere_are_listed_apart(tmp_path: Path) -> None:
    script = job(tmp_path)
    script.do_all(intent("start", operation="bore"), intent("record", name="gap", value="0.1 mm"), intent("finish"))
    script.do_all(intent("start", operation="face"), intent("finish"))
    copy = copy_of(loaded(script))
    assert [part.title for part in copy.supplied] == ["Cams"]
    assert copy.elsewhere == ("Face it: by the machine shop",)
    assert not any("supplies" in label for label, _ in copy.facts)


def test_answer_shop_makes_a_part_one_of_the_shop(tmp_path: Path) -> None:
    copy = copy_of(loaded(job(tmp_path, "shop")))
    assert copy.supplied == ()
    assert "Cams" in which(copy)


def test_other_lubricant_is_a_deviation_in_plain_words(tmp_path: Path) -> None:
    joint = "joints: {cover: {title: Cover bolts, lubricant: moly paste, layout: '1 2'}}\n"
    one = "{id: one, title: One, tighten: {joint: cover, stages: [20 N·m]}}"
    script = Script(tmp_path, procedure_with(one, head=joint))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do("lubricant", joint="cover", lubricant="engine oil", nut_factor="0.15")
    copy = copy_of(loaded(script))
    words = "Cover bolts: engine oil was used on the threads; the torque is stated for moly paste."
    assert copy.deviations == (words,)


def test_deviation_from_a_limit_has_the_name_for_the_customer_and_one_line_for_one_reason(tmp_path: Path) -> None:
    one = (
        "{id: one, title: One, record: {gap: {ask: Gap, handover: Gap of the bore, readings: 2, unit: mm, "
        "limit: at most 0.20 mm}}}"
    )
    script = Script(tmp_path, procedure_with(one))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(intent("record", name="gap", value="0.3 mm"), intent("record", name="gap", value="0.4 mm"))
    for reading in (1, 2):
        script.do("deviate", operation="one", about=f"gap[{reading}]", reason="wanted so", by="Robin")
    script.do("finish")
    copy = copy_of(loaded(script))
    words = "the limit of “Gap of the bore” (1: 0.3 mm, 2: 0.4 mm; limit at most 0.20 mm)"
    assert copy.deviations == (f"One: deviation from {words}. Robin signed it. Reason: wanted so.",)
    (row,) = copy.readings
    assert (row.figures, row.verdict, row.other) == ((("1", "0.3"), ("2", "0.4")), "HIGH", "0.012 .. 0.016 in")


def test_readings_that_are_judged_together_have_their_difference_beside_the_limit(tmp_path: Path) -> None:
    one = "{id: one, title: One, record: {gap: {ask: Gap, readings: 2, unit: mm, limit: equal within 0.3 mm}}}"
    script = Script(tmp_path, procedure_with(one))
    script.do_all(open_intent(), intent("start", operation="one"))
    script.do_all(intent("record", name="gap", value="4.00 mm"), intent("record", name="gap", value="4.20 mm"))
    script.do("finish")
    (row,) = copy_of(loaded(script)).readings
    assert row.figures == (("1", "4.00"), ("2", "4.20"), ("difference", "0.20"))
    assert (row.other, row.other_limit) == ("0.0079 in", "at most 0.0118 in")  # 0.20 / 25.4 and 0.3 / 25.4


# --- what the log contradicts -------------------------------------------------------------------------

TEST = (
    "{id: test, title: Test it, takes: 30 min, record: {drop: {ask: Drop, handover: 'Drop in the test, 30 min', "
    "unit: bar, limit: at most 0.2 bar}}}"
)


@pytest.mark.parametrize(("value", "verdict"), [("0.1 bar", "not proven"), ("0.3 bar", "HIGH")])
def test_reading_of_a_step_that_took_far_less_than_stated_is_not_ok(tmp_path: Path, value: str, verdict: str) -> None:
    script = Script(tmp_path, procedure_with(TEST))
    script.do_all(open_intent(), intent("start", operation="test"), intent("record", name="drop", value=value))
    if verdict == "HIGH":
        script.do("deviate", operation="test", about="drop", reason="known leak", by="Robin")
    script.do_all(intent("finish"), intent("close"))
    copy = copy_of(loaded(script))
    (row,) = copy.readings
    assert row.verdict == verdict
    assert re.fullmatch(r"taken after \d\.\d s; the procedure states 30 min", row.remark)
    for text in (customer_copy_html(copy), customer_copy_markdown(copy)):
        assert row.remark in text


def test_lubricant_is_stated_as_used_only_where_it_was_entered(tmp_path: Path) -> None:
    head = (
        "joints:\n  cross: {title: Crosswise, lubricant: paste, layout: '1 2'}\n"
        "  round: {title: Round, lubricant: paste, layout: '1 2'}\n"
    )
    passes = ("{id: one, title: First pass, tighten: {joint: cross, stages: [20 N·m]}}",
              "{id: two, title: Second pass, after: one, tighten: {joint: cross, stages: [40 N·m]}}",
              "{id: three, title: Last pass, after: two, tighten: {joint: round, stages: [40 N·m]}}")  # fmt: skip
    script = Script(tmp_path, procedure_with(*passes, head=head))
    script.do_all(open_intent(), *_tightened("one", "cross"), intent("lubricant", joint="cross", lubricant="dry"))
    script.do_all(*_tightened("two", "cross"), *_tightened("three", "round"), intent("close"))
    log = loaded(script)
    assert [(joint.title, joint.where, joint.about) for joint in copy_of(log).joints] == [
        ("Crosswise", "First pass", "lubricant by the procedure: paste"),
        ("Crosswise", "Second pass", "lubricant used: dry (torque stated for paste)"),
        ("Round", "", "lubricant by the procedure: paste"),
    ]
    assert copy_of(log).deviations == ("Crosswise: the threads were dry; the torque is stated for paste.",)
    abouts = [op.joint.about for section in build_sheet(log).sections for op in section.operations if op.joint]
    assert abouts == [joint.about for joint in copy_of(log).joints]


def _tightened(operation: str, joint: str) -> tuple[Json, ...]:
    """Intents that do an operation which tightens two fasteners of a joint."""
    ticks = (intent("tick", joint=joint, fastener=number) for number in (1, 2))
    return (intent("start", operation=operation), *ticks, intent("finish"))


def test_the_stated_lubricant_is_not_a_deviation(tmp_path: Path) -> None:
    head = "joints: {cover: {title: Cover bolts, lubricant: paste, layout: '1 2'}}\n"
    script = Script(
        tmp_path, procedure_with("{id: one, title: One, tighten: {joint: cover, stages: [20 N·m]}}", head=head)
    )
    script.do_all(open_intent(), intent("lubricant", joint="cover", lubricant="Paste"), *_tightened("one", "cover"))
    copy = copy_of(loaded(script))
    assert copy.deviations == ()
    assert copy.joints[0].about == "lubricant used: Paste"


# --- places ---------------------------------------------------------------------------------------------

WHEELS = """places: {side: [left, right]}
kit: {parts: {bearing: {title: Bearing, lot: required}, grease: {title: Grease, lot: required}}}
joints: {nuts: {title: Wheel nuts, layout: '1 2 3 4 5', tolerance: 6 %}}
"""


def test_lots_and_joints_of_several_places_name_the_place(tmp_path: Path) -> None:
    one = (
        "{id: wheel, title: 'Tighten the {side} wheel', each: side, uses: [bearing, grease], "
        "tighten: {joint: nuts, stages: [110 N·m]}}"
    )
    script = Script(tmp_path, procedure_with(one, head=WHEELS))
    script.do_all(open_intent())
    for side, lot in (("left", "B-1"), ("right", "B-2")):
        script.do_all(intent("start", operation=f"wheel[{side}]"), intent("lot", consumable="bearing", lot=lot))
        script.do_all(intent("lot", consumable="grease", lot="G-1"))
        figures = {5: {"value": "95 N·m"}} if side == "left" else {}
        script.do_all(
            *(intent("tick", joint="nuts", fastener=number, **figures.get(number, {})) for number in range(1, 6))
        )
        if figures:
            script.do("deviate", operation="wheel[left]", about="nuts", reason="Close enough", by="Robin")
        script.do("finish")
    script.do("close")
    copy = copy_of(loaded(script))
    assert which(copy) == {"Bearing": "left: lot B-1; right: lot B-2", "Grease": "lot G-1"}
    # 110 N·m less and more 6 %
    assert copy.deviations == (
        "Tighten the left wheel: deviation from the tightening of Wheel nuts (fastener 5: 95 N·m LOW; "
        "limit 103.4 .. 116.6 N·m). Robin signed it. Reason: Close enough.",
    )
    assert [(joint.where, joint.own) for joint in copy.joints] == [
        ("left", ("Fastener 5: 95 N·m LOW",)), ("right", ()),
    ]  # fmt: skip


# --- a job that is not finished ---------------------------------------------------------------------------


@pytest.mark.parametrize("closed", [True, False])
def test_copy_of_unfinished_work_says_so_first_and_has_no_advice(tmp_path: Path, closed: bool) -> None:
    head = "handover: {Oil: Change it.}\nfollow-up: [{title: Look again, due: 7 d}]\n"
    steps = ["{id: one, title: First of all}", *(f"{{id: s{n}, title: Step {n}, after: one}}" for n in range(30))]
    script = Script(tmp_path, procedure_with(*steps, head=head))
    script.do_all(open_intent(), intent("start", operation="one"), intent("finish"))
    if closed:
        script.do("close", unfinished="No more money")
    copy = copy_of(loaded(script))
    assert copy.not_done == tuple(f"Step {n}" for n in range(30))
    assert copy.done == ("First of all",)
    assert (copy.handover, copy.follow_up) == ((), ())
    assert dict(copy.facts)["Finished"] == "no"
    for text in (customer_copy_html(copy), customer_copy_markdown(copy)):
        assert "THIS WORK IS NOT FINISHED." in text
        assert "1 operation of 31 is done. 30 are not done" in text
        assert text.index("NOT FINISHED") < text.index("First of all")
        assert ("Reason: No more money." in text) == closed
        assert "Do not run it" in text
        assert not any(words in text for words in ("Change it", "Look again", "None."))


def test_copy_of_an_open_job_without_a_step_left_says_that_it_is_not_closed(tmp_path: Path) -> None:
    script = Script(tmp_path, procedure_with("{id: one, title: One}", head="handover: {Oil: Change it.}\n"))
    script.do_all(open_intent(), intent("start", operation="one"), intent("finish"))
    copy = copy_of(loaded(script))
    assert copy.unfinished[0] == "THIS JOB IS NOT CLOSED."
    assert (copy.not_done, copy.done, copy.handover) == ((), (), ())
    script.do("close")
    assert copy_of(loaded(script)).unfinished == ()
    assert copy_of(loaded(script)).handover == (("Oil", "Change it."),)


def test_text_of_people_is_never_markup_on_the_copy(tmp_path: Path) -> None:
    hostile = '</style><script>alert(1)</script> "quoted" \\ {{ 7*7 }} \x1b]52;c;aGk=\x07 \u202eabc'
    script = Script(tmp_path, procedure_with(OPERATIONS[2].replace("after: bore, ", "")))
    script.do_all({**open_intent(), "unit": hostile}, intent("note", text="for the shop only"))
    copy = copy_of(loaded(script))
    for text in (customer_copy_html(copy), customer_copy_markdown(copy)):
        assert "<script" not in text.replace("\\<", "")  # Markdown has it escaped
        assert not {"\x1b", "\u202e"} & set(text)
        assert "for the shop only" not in text
    assert customer_copy_html(copy).count("</style>") == 1
    assert "{{ 7*7 }}" in customer_copy_html(copy)


# --- letterhead ---------------------------------------------------------------------------------------


def test_letterhead_has_the_address_and_the_logo_of_the_register(tmp_path: Path, copy: CustomerCopy) -> None:
    (tmp_path / "logo.png").write_bytes(b"\x89PNG\r\n\x1a\n-rest")
    shop = read_shop("shop: 1\nname: A <b>bench</b>\naddress: [12 Quay Road, Smalltown]\nlogo: logo.png\n").shop
    head = letterhead_of(shop, tmp_path / "shop.yaml")
    assert head == LetterheadOnSheet(
        "A <b>bench</b>", ("12 Quay Road", "Smalltown"), "", "", "data:image/png;base64,iVBORw0KGgotcmVzdA=="
    )
    log = loaded_build(3, FAULTS, with_tools=True)
    page = customer_copy_html(customer_copy(log, build_sheet(log), head))
    assert "A &lt;b&gt;bench&lt;/b&gt;" in page
    assert "<b>bench" not in page
    assert re.search(r'<img alt="" src="data:image/png;base64,', page)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "cannot be read"),
        (b"GIF89a", "neither a PNG nor a JPEG"),
        (b"\x89PNG\r\n\x1a\n" + bytes(300_000), "256 KiB"),
    ],
)
def test_logo_that_cannot_be_printed_is_refused(tmp_path: Path, content: bytes | None, words: str) -> None:
    if content is not None:
        (tmp_path / "logo.png").write_bytes(content)
    with pytest.raises(BenchflowError, match=words):
        logo_data_uri(tmp_path / "logo.png")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("email: not an address", "is not an e-mail address"),
        ("telephone: call me", "is not a telephone number"),
        ("logo: ../../etc/passwd", "is not the name of a PNG or JPEG file"),
        ("address: [a, b, c, d, e, f, g]", "more than 6 lines"),
        (f"address: {'x' * 81}", "is not a line of an address"),
    ],
)
def test_bad_letterhead_is_refused_with_its_line(line: str, words: str) -> None:
    read = read_shop(f"shop: 1\n{line}\n")
    assert read.shop is None
    (problem,) = read.problems
    assert (problem.code, problem.line) == ("bad-letterhead", 2)
    assert words in problem.message
