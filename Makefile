.DEFAULT_GOAL := help
SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
PYTHON ?= python3
BIN := .venv/bin
RUN := $(BIN)/python

help: ## the words of this file
	@grep -hE '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

.venv/.installed: requirements-dev.lock pyproject.toml
	$(PYTHON) -m venv .venv
	$(RUN) -m pip install --quiet --disable-pip-version-check --only-binary :all: --require-hashes -r requirements-dev.lock
	$(RUN) -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $@

env: .venv/.installed ## make .venv from the lock (first part of demo and test)

.PHONY: help env
