"""Fabric layout for people who sew.

The flow, and the only direction in which modules import each other::

    files ──> pieces ──> order ──> cloth & spread ──> packing ──> proof ──> report
"""

from __future__ import annotations

__version__ = "0.1.0"
