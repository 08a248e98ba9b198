"""Which screw goes where and how it is turned when it is mounted, so that run-outs cancel."""
