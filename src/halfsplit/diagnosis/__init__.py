"""Fault finding by measurement: suspects, evidence, belief, the next test and the proof."""
