"""Tests of survivor.effects."""
