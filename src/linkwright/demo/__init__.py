"""The built-in shoot: invented from beginning to end, its sweep made by scripts/make_demo_sweep.py."""
