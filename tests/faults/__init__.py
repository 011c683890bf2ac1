"""Servers that are killed, disks that are full, files that are damaged, lines that are slow."""
