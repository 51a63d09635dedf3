"""Say it, draw it, print it: what a person reads at the shop and at the table.

``drawing`` turns a lay into a scene (styled shapes and words in table millimetres); ``svg``, ``png``, ``pdf`` and
``dxf`` each write any scene. ``sheet`` holds the numbers for laying by hand, ``page`` the report.
"""
