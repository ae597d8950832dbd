"""Captures: recorded signals, read from files and measured.

>>> from halfsplit.capture import Capture
"""

from halfsplit.capture.capture import Capture, Channel, Window

__all__ = ["Capture", "Channel", "Window"]
