"""Measures over time: control charts, the job-by-job CUSUM, capability, one month against those before."""
