"""Plucks to frequency: the estimator.

Theory of operation, in the order in which a sound meets the steps. Frequencies are in Hz, times in
seconds, scores in nats (log likelihood ratios against "no string"), levels in dB.

1.  Resampling (`resample`). In: `Block` of any size and rate. Out: `Slab` of fixed size at the
    analysis rate (8 to 20 kHz), low-passed by a linear-phase FIR filter. Later steps see the same
    slabs whether the sound came whole or in crumbs.
2.  Onset detection (`onsets`). In: slabs. Out: log spectral flux over a running noise floor, and
    excess over that floor, one value a hop.
3.  Segmentation (`pluck_detector`). In: slabs, flux, excess. Out: `Pluck`: the samples from the
    quiet before the onset to the end of the ring, or a reason why the stretch cannot be used
    (clipped, lost samples, too short). `live_detector` leaves out the program's own beeps.
4.  Noise (`noise`). In: the quiet before the onset. Out: `Noise`: Welch's power spectrum and the
    steady tones in it.
5.  Peaks (`peaks`). In: the sound from 4 ms after the onset, and the noise. Out: `Spectrum` through
    windows ``t exp(-b t)`` matched to several decays, and `SpectralLines`: frequency, its standard
    uncertainty, level, decay and gain of at most thirty lines. This is matched filtering of damped
    sinusoids.
6.  Candidates (`candidates`). In: the lines and the frequency range. Out: `Candidate`s: stiff
    series ``f_n = n f_s sqrt(1 + B n^2)`` that may explain the lines, by harmonic matching over
    every assignment of strong lines to small n, then least squares.
7.  Likelihood (`likelihood`). In: a series and the lines. Out: its score. Every line is a partial
    of the series or unrelated to it; a partial that should be heard and is not costs. Priors are
    broad and come from physics.
8.  Onset evidence (`onset_evidence`). In: a pluck, its lines, the records before it. Out: for every
    line the log likelihood ratio of "began with the pluck" against "sounded before".
9.  Selection (`selection`). In: the candidates of all plucks. Out: one `Decision`: the fundamental
    with the highest posterior probability (its ``quality``), against rivals: other fundamentals,
    the octave below, a machine, a voice, no string. Below `LEAST_QUALITY` there is no answer.
10. Interference (`interference`) and range (`out_of_range`). In: the chosen candidate, the lines,
    the range. Out: a reason to withhold it: a second string, an unrelated line that began with the
    pluck, a far better explanation outside the range. Twist is named.
11. Damped fit (`damped_fit`). In: the sound, the noise, the chosen partials. Out: `DampedFit`:
    maximum likelihood frequencies at vanishing amplitude, decays, amplitudes, the glide of a large
    pluck, and their covariance. Method: variable projection with Gauss-Newton steps.
12. Inharmonicity (`inharmonicity`). In: the fitted partials with their covariance. Out: `Mode`:
    mode 1 at vanishing amplitude and B, by generalised least squares.
13. Outliers (`outliers`, `groups`). In: the results of all plucks. Out: each is used, or rejected
    with a reason: the ring of an earlier pluck, a tone that disagrees with the others. Groups that
    disagree are never averaged.

`estimator` runs steps 5 to 13; `results` holds the records that leave the room, `messages` every
reason in words, `waveform_view` what is drawn of a pluck, `pyin_check` an independent estimate.

What the room does not do: it opens no file and no device, reads no clock, and knows no belt, no
span and no newton. It never chooses between two groups of plucks that disagree.
"""
