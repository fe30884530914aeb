# The only commands to remember. Two of them do all the set-up: make demo, make test.

GO ?= go
# The race detector needs a C compiler; without one the tests run without it, and say so.
RACE := $(shell command -v gcc >/dev/null 2>&1 && echo -race)

.PHONY: container-check sbom dependencies vulnerabilities build demo test race torture bench fuzz lint peers clean accuracy accuracy-baseline scenes plant-week soak-year release reproducible

build: ## the binary, here
	$(GO) build -o strokewise ./cmd/strokewise

demo: build ## the main job on embedded defaults, until Ctrl-C
	@exec ./strokewise demo

# Packages that are one goroutine's work, and the tests of the binary as it is built: without
# the race detector, under which they take five times as long. `make race` runs all with it.
PLAIN := ./analyzer/... ./rules ./collector/rig/model ./collector/rig/draw ./collector/discover ./dashboards/trend ./cmd/internal/config ./cmd/internal/backup ./cmd/internal/reanalyse ./cmd/internal/pipeline ./cmd/internal/accuracy ./cmd/internal/scene ./cmd/strokewise

test: peers ## all tests
	@[ -n "$(RACE)" ] || echo "note: no C compiler found, so the tests run without the race detector"
	$(GO) vet ./...
	@# both at once: the runtime's tests wait more than they work
	@status=0; $(GO) test -count=1 -timeout 18m -skip 'RandomStations$$' $(PLAIN) & plain=$$!; \
	$(GO) test $(RACE) -count=1 -timeout 18m $$($(GO) list ./... | grep -vFx "$$($(GO) list $(PLAIN))") || status=1; \
	wait $$plain || status=1; exit $$status
	cd deploy/manifests && $(GO) vet ./... && $(GO) test -count=1 ./... # a module of its own
	$(GO) test -count=1 -v -run 'RandomStations$$' ./cmd/internal/pipeline # apart, for its tables

race: peers ## all tests with the race detector; half an hour
	$(GO) test -race -count=1 -timeout 40m ./...

peers: ## the programs that tests run against (Debian packages; InfluxDB is built, once); says which are missing where it may not install them
	@sh deploy/peers/install.sh

bench: peers ## speed, each beside its baseline in the same run; ends with a table of the budgets
	@{ $(GO) test -run '^$$' -bench . -benchtime 1s ./analyzer/... ./collector/payload ./collector/trace ./collector/samplelog ./collector/mqtt ./dashboards/... && \
	$(GO) test -run '^$$' -bench 'EndToEnd|Replay' -benchtime 3x -timeout 20m ./cmd/... && \
	$(GO) test -run '^$$' -bench 'Stations|Plant|Alarm$$' -benchtime 1x -timeout 20m ./cmd/... || echo "FAILED"; } | $(GO) run ./cmd/internal/budget

# Minutes of the soak.
STROKEWISE_SOAK ?= 30
STROKEWISE_TORMENT ?= 60
torture: peers ## 200 kills at random moments, a plant of 500 stations for STROKEWISE_SOAK minutes, and everything at once for STROKEWISE_TORMENT minutes
	STROKEWISE_TORTURE=1 STROKEWISE_SOAK=$(STROKEWISE_SOAK) STROKEWISE_TORMENT=$(STROKEWISE_TORMENT) $(GO) test -v -count=1 -timeout 3h -run 'TestTwoHundredKills|TestSoak|TestTorment' ./cmd/strokewise

SOAK_STATIONS ?= 1000
soak-year: ## a year of SOAK_STATIONS stations, faster than time; about an hour
	$(GO) run ./cmd/internal/soak/run -stations $(SOAK_STATIONS)

FUZZTIME ?= 30s
fuzz: ## every fuzz test of the tree, FUZZTIME each
	@all=$$(grep -rHo --include='*_test.go' '^func Fuzz[A-Za-z0-9_]*' . | sort); [ -n "$$all" ] || { echo "no fuzz tests found"; exit 1; }; \
	echo "$$all" | while IFS=: read -r file func; do \
		echo "$${file%/*} $${func#func }"; \
		$(GO) test -run '^$$' -fuzz "^$${func#func }\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 1x "$${file%/*}" || exit 1; \
	done

# The table that is published: the report set, beside that of the release before.
ACCURACY := cmd/internal/accuracy
accuracy: ## how far conclusions are from the truth, over drawn stations and all recordings: rewrites table.txt and recordings.txt; ten minutes
	$(GO) run ./$(ACCURACY)/measure -set report -n 1380 -out $(ACCURACY)/table.txt -json $(ACCURACY)/table.json -before $(ACCURACY)/before.json
	$(GO) run ./$(ACCURACY)/measure -recordings -each -out $(ACCURACY)/recordings.txt
	$(GO) run ./$(ACCURACY)/measure -set report -mistakes 45 -out $(ACCURACY)/mistakes.txt

accuracy-baseline: ## stores the short table that make test holds, and recordings.txt, after an accepted change
	$(GO) test -count=1 -run 'TestNothingDropped|TestNoMistakeIsNamedWorse' ./$(ACCURACY) -update
	$(GO) run ./$(ACCURACY)/measure -recordings -each -out $(ACCURACY)/recordings.txt

SCENE := cmd/internal/scene
scenes: ## ordinary events of a plant, as a table: event, what was raised, after how long, the text as sent; a minute. Fails where one did not come as it must
	$(GO) run ./$(SCENE)/play

# Stations and days of the week, and where the stations begin in the tune set: another figure is another plant.
FIRST ?= 0
STATIONS ?= 24
DAYS ?= 7
plant-week: ## a week of a mixed virtual plant: alarms a day, shares of the priorities, false and missed ones; ten minutes
	$(GO) run ./$(SCENE)/play -week -first $(FIRST) -stations $(STATIONS) -days $(DAYS)

# Packages that tests and `make accuracy`, `make scenes` run: programs beside them, recordings and random stations for them, rules of the tree.
FOR_TESTS := deploy/peers collector/playback collector/rig/draw cmd/internal/accuracy cmd/internal/scene cmd/internal/layout
lint: ## formatting, vet, staticcheck, and no function that no program reaches
	@# nothing of Linux alone in what is released for Windows
	CGO_ENABLED=0 GOOS=windows $(GO) build -o /dev/null ./cmd/strokewise
	@out=$$(gofmt -l .); [ -z "$$out" ] || { echo "not formatted: $$out"; exit 1; }
	$(GO) vet ./...
	$(GO) run honnef.co/go/tools/cmd/staticcheck@v0.8.2 ./...
	@all=$$($(GO) run golang.org/x/tools/cmd/deadcode@v0.52.0 ./...) || exit 1; \
	dead=$$(echo "$$all" | grep -v $(FOR_TESTS:%=-e '^%/') | grep .) || exit 0; \
	echo "no program reaches:"; echo "$$dead"; echo "delete it, or move it to the tests that use it"; exit 1

# A release: static, and the same bytes from the same commit by the same version of Go, in whatever folder.
# Its version is the tag v1.2.3 at the commit, or the one before with the distance to it.
TARGETS := linux/amd64 linux/arm64 windows/amd64
RELEASE ?= $(shell git describe --tags --match 'v[0-9]*' --always --dirty 2>/dev/null)
COMMIT := $(shell git rev-parse HEAD 2>/dev/null)
# Files in packages get the commit's time.
export SOURCE_DATE_EPOCH ?= $(shell git log -1 --format=%ct 2>/dev/null)
# A release without a tag has the version of the source.
VERSION = $(if $(filter v%,$(RELEASE)),$(RELEASE),v0.1.0-$(RELEASE))
DIST ?= dist
STATIC = CGO_ENABLED=0 GOFLAGS= GOAMD64=v1 GOARM64=v8.0 $(GO) build -trimpath -buildvcs=false -ldflags '-s -w -buildid= -X main.release=$(VERSION) -X main.commit=$(COMMIT)'

release: ## binaries, Debian packages, notices, bill of materials, checksums: in dist/; stops at a licence that does not fit
	rm -rf $(DIST) && mkdir -p $(DIST)
	$(GO) run ./cmd/internal/notices ./cmd/strokewise $(TARGETS) >$(DIST)/third-party-notices.txt
	@set -e; for target in $(TARGETS); do os=$${target%/*} arch=$${target#*/} end=; [ $$os = linux ] || end=.exe; \
		echo "building $$target"; \
		GOOS=$$os GOARCH=$$arch $(STATIC) -o $(DIST)/strokewise_$${os}_$$arch$$end ./cmd/strokewise; \
	done
	@if command -v dpkg-deb >/dev/null 2>&1; then set -e; \
		$(GO) run -ldflags '-X main.release=$(VERSION)' ./cmd/strokewise man >$(DIST)/strokewise.1; \
		$(GO) run ./cmd/strokewise completion >$(DIST)/strokewise.bash; \
		for arch in amd64 arm64; do sh deploy/debian/build.sh $(DIST)/strokewise_linux_$$arch $(VERSION) $$arch $(DIST)/strokewise.1 $(DIST)/strokewise.bash \
			$(DIST)/third-party-notices.txt $(DIST)/strokewise_$$arch.deb; done; \
	else echo "note: no dpkg-deb found, so there are no Debian packages"; fi
	$(MAKE) sbom SBOM=$(DIST)/strokewise.cdx.json
	cd $(DIST) && sha256sum $$(ls | grep -v '^SHA256SUMS$$' | LC_ALL=C sort) >SHA256SUMS

container-check: ## runs the container's root folder in a chroot, as the container's user; needs root
	sh deploy/container/check.sh

REPRODUCED ?= linux/amd64
reproducible: ## builds REPRODUCED twice, in two folders and with two empty caches, and compares: half an hour on a busy machine
	@set -e; dir=$$(mktemp -d); trap 'rm -rf "$$dir"' EXIT; \
	for n in one another/deeper; do mkdir -p $$dir/$$n; git archive HEAD | tar -x -C $$dir/$$n; \
		(cd $$dir/$$n && GOCACHE=$$dir/cache GOOS=$(REPRODUCED:%/$(notdir $(REPRODUCED))=%) GOARCH=$(notdir $(REPRODUCED)) $(STATIC) -o $$dir/$${n%/*}.bin ./cmd/strokewise); \
		rm -rf $$dir/cache; done; \
	sha256sum $$dir/one.bin $$dir/another.bin; cmp $$dir/one.bin $$dir/another.bin && echo "equal"

SBOM ?= strokewise.cdx.json
sbom: ## the bill of materials of the program, in the form of CycloneDX: $(SBOM)
	$(GO) run ./cmd/internal/dependencies/run -version "$(VERSION)" >$(SBOM).new && mv $(SBOM).new $(SBOM)

dependencies: ## writes the table of modules in SECURITY.md anew; asks for newer versions
	$(GO) run ./cmd/internal/dependencies/run -table SECURITY.md

.PHONY: monitoring
monitoring: ## writes the rules for Prometheus and the dashboards for Grafana that are made from the tables of alarms and metrics
	$(GO) run ./cmd/internal/monitoring/run

GOVULNCHECK := golang.org/x/vuln/cmd/govulncheck@v1.9.0
VULNDB ?= https://vuln.go.dev
vulnerabilities: ## known vulnerabilities that the program reaches; asks the public database of them, or VULNDB=file:///copy
	@$(GO) run ./cmd/internal/dependencies/run -reach $(VULNDB)
	$(GO) run $(GOVULNCHECK) -db $(VULNDB) ./cmd/strokewise

clean:
	rm -f strokewise
	rm -rf $(DIST)
