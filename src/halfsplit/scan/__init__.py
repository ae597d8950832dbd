"""Fault codes: decoding, reports of any scan tool as text, live reading over CAN, before and after."""
