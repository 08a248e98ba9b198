"""From workshop readings to parts: dial gauge, push-pull, tap and cord tests."""
