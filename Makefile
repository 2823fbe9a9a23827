SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help

GO ?= go
FUZZTIME ?= 5s
STATICCHECK_VERSION := v0.8.2
# a clone may belong to another user than the one who builds, and git then
# refuses to tell its state
export GOFLAGS ?= -buildvcs=false
# the race detector needs a C compiler; nothing else here does
RACE := $(if $(shell command -v gcc || command -v clang || command -v cc),-race,)

.PHONY: help build dist test check fmt vet lint race fuzz vuln demo mail-screens screens load season-table season-outlook skill-table cover-up-table replay-table plan-table faults scale feed-bench clean

help: ## list what can be made
	@awk -F ':.*## ' '/^[a-z-]+:.*## /{printf "  make %-14s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

build: ## build ./laycast, one static program
	CGO_ENABLED=0 $(GO) build -trimpath -o laycast ./cmd/laycast

# the version stamped into a release: the tag, or the commit
VERSION ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo dev)
DIST ?= dist

dist: ## a release: dist/laycast, static and reproducible, and a tarball of it with docs and deploy files
	@mkdir -p "$(DIST)"
	CGO_ENABLED=0 GOFLAGS=-buildvcs=false $(GO) build -trimpath -ldflags '-s -w -buildid= -X main.version=$(VERSION)' -o "$(DIST)/laycast" ./cmd/laycast
	@tmp=$$(mktemp -d); trap 'rm -rf "$$tmp"' EXIT; top="$$tmp/laycast-$(VERSION)"; mkdir "$$top"; \
	cp "$(DIST)/laycast" README.md "$$top"; cp -r docs deploy "$$top"; \
	chmod -R u=rwX,go=rX "$$top"; \
	tar -C "$$tmp" --sort=name --mtime=@0 --owner=0 --group=0 --numeric-owner --format=ustar -cf - "laycast-$(VERSION)" | gzip -9n >"$(DIST)/laycast-$(VERSION).tar.gz"; \
	(cd "$(DIST)" && sha256sum laycast "laycast-$(VERSION).tar.gz" >SHA256SUMS && cat SHA256SUMS)

test: ## run all tests (gets PostgreSQL and a mail server first where it may)
	@sh testdata/need.sh
	$(GO) test -timeout 25m ./...

check: fmt vet lint race fuzz ## all of the quality checks: format, vet, staticcheck, tests with -race, short fuzzing
	@echo "check: all clean"

fmt: ## fail on files that gofmt would change
	@files=$$(gofmt -l .); if [ -n "$$files" ]; then echo "gofmt would change these files; run gofmt -w on them:"; echo "$$files"; exit 1; fi

vet: ## run go vet
	$(GO) vet ./...

lint: ## run staticcheck, fetching it if need be
	@if command -v staticcheck >/dev/null; then \
		echo staticcheck ./...; staticcheck ./...; \
	elif $(GO) run honnef.co/go/tools/cmd/staticcheck@$(STATICCHECK_VERSION) -version; then \
		$(GO) run honnef.co/go/tools/cmd/staticcheck@$(STATICCHECK_VERSION) ./...; \
	else echo "lint: NOT RUN: staticcheck $(STATICCHECK_VERSION) could not be had"; fi

race: ## run all tests under the race detector
	@sh testdata/need.sh
	@if [ -z "$(RACE)" ]; then echo "race: no C compiler found, so the tests run WITHOUT the race detector; install gcc for it"; fi
	$(GO) test -timeout 25m $(RACE) ./...

fuzz: ## fuzz every parser for FUZZTIME (5s)
	@list=$$($(GO) test -list '^Fuzz' ./... | awk '/^Fuzz/{f[n++]=$$1} /^ok/{for(i=0;i<n;i++)print $$2, f[i]; n=0}'); \
	[ -n "$$list" ] || { echo "fuzz: no targets found, which cannot be right"; exit 1; }; \
	while read -r pkg f; do \
		echo "fuzz $$pkg $$f for $(FUZZTIME)"; \
		out=$$($(GO) test -run '^$$' -fuzz "^$$f\$$" -fuzztime $(FUZZTIME) $$pkg 2>&1) || { echo "$$out"; exit 1; }; \
	done <<<"$$list"; echo "fuzz: $$(wc -l <<<"$$list") targets, nothing found"

vuln: ## look for known weaknesses in the libraries, where the database can be reached
	@if ! command -v govulncheck >/dev/null; then echo "vuln: NOT RUN: govulncheck is not installed"; exit 0; fi; \
	$(GO) build ./...; \
	rc=0; govulncheck ./... || rc=$$?; \
	if [ $$rc = 3 ]; then echo "vuln: weaknesses found"; exit 1; \
	elif [ $$rc != 0 ]; then echo "vuln: NOT RUN: govulncheck could not do its work (exit $$rc); the program builds, so most likely its database cannot be reached"; fi

demo: ## tell the whole story once on the built-in scenario
	$(GO) run ./cmd/laycast demo --once

mail-screens: ## pictures of three of the demo's mails on a telephone: writes docs/pictures (needs chromium)
	@tmp=$$(mktemp -d); trap 'rm -rf "$$tmp"' EXIT; \
	$(GO) run ./cmd/laycast demo --once --mails "$$tmp" >/dev/null; \
	sh testdata/screens.sh "$$tmp" "$$tmp"; \
	$(GO) run ./testdata/shrinkpng "$$tmp"/*.png; \
	mv "$$tmp"/*.png docs/pictures/

SCREENS ?= $(or $(TMPDIR),/tmp)/laycast-screens

screens: ## pictures of every page of the demo's firm, on a phone and a desk, by day and night, into SCREENS (needs chromium)
	@mkdir -p $(SCREENS)
	$(GO) test -count=1 -timeout 30m -run '^TestScreens$$' ./cmd/laycast/browser -screens $(abspath $(SCREENS))
	@echo "screens: $$(ls $(SCREENS) | wc -l) pictures in $(SCREENS)"

load: ## 200 readers on the week page for a minute: says how long answers take, fails on any error
	$(GO) test -count=1 -v -timeout 30m -run '^TestLoad$$' ./cmd/laycast/browser -load 60s

# the recorded station-years beside the repository
RECORDS ?= $(wildcard ../shared/weather/stations/*.csv)
TABLES := docs/limits-tables.md

season-table: ## measure the laying limits on recorded weather: writes docs/limits-tables.md
	@[ -n "$(RECORDS)" ] || { echo "season-table: no weather records; give RECORDS='a.csv b.csv'"; exit 1; }
	@tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; \
	sed '/^<!-- made by make season-table -->$$/q' $(TABLES) >"$$tmp"; \
	printf '\nMade on %s.\n\n' "$$(date -u +%F)" >>"$$tmp"; \
	$(GO) run ./cmd/laycast season --markdown --members 18 --area 12 --area 20 --area 40 $(addprefix --weather ,$(RECORDS)) >>"$$tmp"; \
	cat "$$tmp" >$(TABLES); echo "season-table: wrote $(TABLES)"

SKILL := docs/skill-tables.md

skill-table: ## measure how honest the chances are on recorded weather: writes docs/skill-tables.md and its diagram
	@[ -n "$(RECORDS)" ] || { echo "skill-table: no weather records; give RECORDS='a.csv b.csv'"; exit 1; }
	@tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; \
	sed '/^<!-- made by make skill-table -->$$/q' $(SKILL) >"$$tmp"; \
	printf '\nMade on %s.\n\n![Reliability of the day chance, 1 to 5 days ahead](skill-diagram.png)\n\n' "$$(date -u +%F)" >>"$$tmp"; \
	$(GO) run ./cmd/laycast skill --markdown --scale 1 --scale 0.7 --scale 1.3 --png docs/skill-diagram.png $(addprefix --weather ,$(RECORDS)) >>"$$tmp"; \
	$(GO) run ./cmd/laycast skill --markdown --alone $(addprefix --weather ,$(RECORDS)) >>"$$tmp"; \
	cat "$$tmp" >$(SKILL); echo "skill-table: wrote $(SKILL)"

OUTLOOK := docs/season.md

season-outlook: ## laying days, usual window and jobs a crew can finish: writes docs/season.md and its pictures
	@[ -n "$(RECORDS)" ] || { echo "season-outlook: no weather records; give RECORDS='a.csv b.csv'"; exit 1; }
	@tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; mkdir -p docs/pictures; \
	sed '/^<!-- made by make season-outlook -->$$/q' $(OUTLOOK) >"$$tmp"; \
	printf '\nMade on %s.\n\n' "$$(date -u +%F)" >>"$$tmp"; \
	$(GO) run ./cmd/laycast season --markdown --area 8 --area 20 $(addprefix --weather ,$(RECORDS)) >>"$$tmp"; \
	for p in dublin jfk; do \
		r=$$(printf '%s\n' $(RECORDS) | grep -m1 "_$${p}_") && $(GO) run ./cmd/laycast season --weather "$$r" --picture docs/pictures/season-$$p.svg >/dev/null || echo "season-outlook: no record of $$p to draw"; \
	done; \
	cat "$$tmp" >$(OUTLOOK); echo "season-outlook: wrote $(OUTLOOK)"

COVERUP := docs/cover-up.md

cover-up-table: ## how often the watch over an open roof warned of recorded showers: writes docs/cover-up.md
	@[ -n "$(strip $(REPLAYED))" ] || { echo "cover-up-table: no weather records; give REPLAYED='a.csv b.csv'"; exit 1; }
	@tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; \
	sed '/^<!-- made by make cover-up-table -->$$/q' $(COVERUP) >"$$tmp"; \
	printf '\nMade on %s, seed 1.\n\n' "$$(date -u +%F)" >>"$$tmp"; \
	$(GO) run ./cmd/laycast skill --cover-up --markdown $(addprefix --weather ,$(REPLAYED)) >>"$$tmp"; \
	cat "$$tmp" >$(COVERUP); echo "cover-up-table: wrote $(COVERUP)"

feed-bench: ## measure how fast a calendar is served, beside nginx serving the same bytes
	@bash testdata/feed-bench.sh

REPLAY := docs/replay-tables.md
REPLAYED ?= $(foreach p,cork_airport dublin_airport shannon_airport us_jfk,$(firstword $(filter %$(p)_2017.csv %$(p)_2013.csv,$(RECORDS))))

replay-table: ## seasons of recorded weather against simpler ways of booking: writes docs/replay-tables.md
	@[ -n "$(strip $(REPLAYED))" ] || { echo "replay-table: no weather records; give REPLAYED='a.csv b.csv'"; exit 1; }
	@tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; \
	sed '/^<!-- made by make replay-table -->$$/q' $(REPLAY) >"$$tmp"; \
	printf '\nMade on %s, seed 1.\n\n' "$$(date -u +%F)" >>"$$tmp"; \
	$(GO) run ./cmd/laycast replay --markdown --losses --seed 1 $(addprefix --weather ,$(REPLAYED)) >>"$$tmp"; \
	cat "$$tmp" >$(REPLAY); echo "replay-table: wrote $(REPLAY)"

FAULTS := docs/faults.md
KILLS ?= 500

faults: ## every fault, with KILLS kills (500, which takes half an hour) and the others in proportion: counts what was lost or doubled, writes docs/faults.md (needs PostgreSQL; root for the full disk)
	@sh testdata/need.sh
	@tmp=$$(mktemp -d); trap 'rm -rf "$$tmp"' EXIT; \
	sed '/^<!-- made by make faults -->$$/q' $(FAULTS) >"$$tmp/page"; \
	printf '\nMade on %s, %s processors.\n\n' "$$(date -u +%F)" "$$(nproc)" >>"$$tmp/page"; \
	printf '| fault | tries | messages | lost | doubled | crew double | customers in doubt, told to the owner | until the work went on |\n|---|---|---|---|---|---|---|---|\n' >>"$$tmp/page"; \
	$(GO) test -count=1 -timeout 120m -v -run '^TestFault' ./cmd/laycast -faults $(KILLS) >"$$tmp/log" 2>&1 || { cat "$$tmp/log"; exit 1; }; \
	grep '^|' "$$tmp/log" >>"$$tmp/page"; ! grep -e '--- SKIP' "$$tmp/log"; \
	cat "$$tmp/page" >$(FAULTS); echo "faults: wrote $(FAULTS)"

SCALEDOC := docs/scale.md
SCALE ?= 100 300 1000 3000 10000

scale: ## the evening of ever more firms on one PostgreSQL and two daemons: writes docs/scale.md and docs/scale.png (needs PostgreSQL; SCALE='30 100 300' for less)
	@sh testdata/need.sh
	@tmp=$$(mktemp -d); trap 'rm -rf "$$tmp"' EXIT; \
	sed '/^<!-- made by make scale -->$$/q' $(SCALEDOC) >"$$tmp/page"; \
	printf '\nMade on %s, %s processors in sight, load average before it %s, %s.\n\n' "$$(date -u +%F)" "$$(nproc)" "$$(cut -d' ' -f1-3 /proc/loadavg)" "$$(uname -sr)" >>"$$tmp/page"; \
	$(GO) test -count=1 -timeout 10h -v -run '^TestScale$$' ./cmd/laycast -scale '$(SCALE)' -scale-plot $(abspath docs/scale.png) >"$$tmp/log" 2>&1 || { cat "$$tmp/log"; exit 1; }; \
	! grep -e '--- SKIP' "$$tmp/log"; \
	printf '| firms | jobs | cells | places asked for | calls | CPU s, weather and plans | CPU s, calls and mails | weather and plans over | calls decided | mails out | CPU s a firm | most memory, MB |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n' >>"$$tmp/page"; \
	sed -n 's/^ *\(|.*|\)$$/\1/p' "$$tmp/log" >>"$$tmp/page"; \
	printf '\n' >>"$$tmp/page"; sed -n 's/^ *\(- .* firms: .*\)$$/\1/p' "$$tmp/log" >>"$$tmp/page"; \
	printf '\n![Cost of an evening over the number of firms](scale.png)\n' >>"$$tmp/page"; \
	cat "$$tmp/page" >$(SCALEDOC); echo "scale: wrote $(SCALEDOC) and docs/scale.png"

PLANS := docs/plan-tables.md
INSTANCES ?= ../shared/planner/instances

plan-table: ## plans of problem files beside a general solver's: writes docs/plan-tables.md (needs coinor-cbc)
	@command -v cbc >/dev/null || { echo "plan-table: NOT RUN: cbc is not installed (apt-get install coinor-cbc)"; exit 0; }; \
	[ -d "$(INSTANCES)" ] || { echo "plan-table: NOT RUN: no problem files in $(INSTANCES)"; exit 0; }; \
	tmp=$$(mktemp); trap 'rm -f "$$tmp"' EXIT; \
	sed '/^<!-- made by make plan-table -->$$/q' $(PLANS) >"$$tmp"; \
	printf '\nMade on %s with %s processors in sight, CBC %s.\n\n' "$$(date -u +%F)" "$$(nproc)" "$$(cbc -quit 2>/dev/null | sed -n 's/^Version: *\([0-9.]*\).*/\1/p')" >>"$$tmp"; \
	PLAN_TABLE="$$(cd $(INSTANCES) && pwd)" $(GO) test -count=1 -timeout 90m -run '^TestPlanTable$$' -v ./scheduler/plan | grep '^|' >>"$$tmp"; \
	cat "$$tmp" >$(PLANS); echo "plan-table: wrote $(PLANS)"

clean: ## remove what make build made
	rm -f laycast
