"""Fault finding on vehicle electrics by measurement."""

__version__ = "0.1.0"
