"""Photographs and sketches that stand with a record of the catalogue or a build."""
