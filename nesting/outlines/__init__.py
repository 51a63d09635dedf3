"""Outlines from what is no drawing of pieces yet: pages of a PDF, photographs and scans of paper and of cloth."""
