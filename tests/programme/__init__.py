"""Tests of programmes."""
