"""Points in words, where a technician reads them (wording: common practice, no source)."""

from halfsplit.diagnosis.words import between_words, part_words
from halfsplit.notation.checked import check_text
from halfsplit.notation.demos import demo


def test_what_proof_still_needs_names_its_points_in_words():
    circuit = check_text(demo("rear-lamps").text).circuit
    drop = between_words("at least 5 V from X40.5:in to X40.5:out under load", circuit)
    plug = "plug of the right rear lamps, pin 5"
    assert drop == f"at least 5 V from {plug}, lamp side (X40.5) to {plug}, ground side (X40.5) under load"
    bridged = between_words("bridging E5 to body restores the function", circuit)
    assert bridged.endswith("(E5) to bare metal of the body restores the function")
    assert between_words("bridging it to hand", circuit) == "bridging it to hand"


def test_places_in_each_others_stead_are_told_by_both():
    circuit = check_text(demo("rear-lamps").text).circuit
    told = part_words("X40.5 and X40.2", circuit)
    assert (
        told == "plug of the right rear lamps, pin 5 (X40.5), and plug of the right rear lamps, pin 2 (X40.2)"
    )
