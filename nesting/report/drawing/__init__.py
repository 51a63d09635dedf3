"""One drawing of a lay as a scene, whatever it is written to."""
