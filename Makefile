.DEFAULT_GOAL := help
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
PYTHON ?= python3
RUN := .venv/bin/python
RMT := .venv/bin/rmt-outcomes

help: ## the words of this file
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

.venv/.installed: requirements-dev.lock pyproject.toml
	$(PYTHON) -m venv .venv
	$(RUN) -m pip install --quiet --disable-pip-version-check --only-binary :all: --require-hashes -r requirements-dev.lock
	$(RUN) -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

.venv/.cluster: .venv/.installed requirements-cluster.lock
	$(RUN) -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --require-hashes -r requirements-cluster.lock
	@touch $@

.tmp/spark/.installed: .venv/.installed requirements-spark.lock
	rm -rf .tmp/spark
	$(RUN) -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --require-hashes --target .tmp/spark -r requirements-spark.lock
	@touch $@

env: .venv/.installed ## make .venv from the lock (first part of demo and test)

cluster: .venv/.cluster ## add the client of the Spark Connect protocol, for --engine sc://host:port and its tests

demo: env ## run the whole job on the sample cohort and say which pages to open
	$(RMT) review sample_data --out out

test: env ## run the fast tests
	$(RUN) tests/browser/chromium.py
	$(RUN) -m tests.browser.axe
	$(RUN) -m pytest -m "not slow" --numprocesses 2 --dist loadfile

slow: cluster ## run the tests that take longer: reviews one after the other, servers, attacks on editions, axe-core
	$(RUN) tests/browser/chromium.py
	$(RUN) -m tests.browser.axe
	$(RUN) -m pytest -m slow --numprocesses 2 --dist loadfile

lint: env ## style, types
	.venv/bin/ruff check .
	.venv/bin/mypy

check: lint test slow ## lint, types and all tests

sample: env ## make sample_data/ again from its seed
	$(RUN) -m pipeline.simulate sample_data

engines: cluster ## a million generated sessions: tables and results from sums are equal whole, in 16 slices, by Spark Connect
	$(RUN) -m tests.engines

spark: cluster .tmp/spark/.installed ## the same on Apache Spark itself (needs Java 17): a master, two workers, one of them killed
	$(RUN) -m tests.engines.spark

oracles: env ## fetch the optional reference data sets of R packages (Debian packages, no R needed)
	$(RUN) -m tests.published.fetch_r_data

study: env ## slow simulation studies; tables with their command under tests/studies/results/
	$(RUN) -m tests.studies

bench: env ## time this project beside its peers; tables under bench/results/
	$(RUN) -m bench

golden: env ## write the golden pages again after a meant change
	$(RUN) -m tests.golden

pictures: env ## pictures of the pages for the README
	$(RUN) -m tests.browser.pictures docs

wheel-check: env ## build the wheel, install it in an empty environment, run it from another folder
	$(RUN) tests/wheel_check.py

clean: ## remove what the other words made
	rm -rf .venv out dist build .pytest_cache .mypy_cache .ruff_cache .hypothesis

.PHONY: help env cluster demo test slow lint check sample engines spark oracles study bench golden pictures wheel-check clean
