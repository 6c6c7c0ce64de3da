"""The pages: one process, one job, a laptop and the phones that join it. See docs/pages.md."""
