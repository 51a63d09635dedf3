"""One session under every front: a search that can be started, watched and stopped from anywhere."""
