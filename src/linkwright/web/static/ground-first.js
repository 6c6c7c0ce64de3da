// The chosen ground before anything is painted, so that a page at dusk never flashes white.
try { document.documentElement.dataset.ground = localStorage.getItem("ground") || "paper"; } catch { /* private mode */ }
