"""Which steps send units back: exposure, risk, attribution, conformance, bursts, clusters."""
