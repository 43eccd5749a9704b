"""Tests of the room proof."""
