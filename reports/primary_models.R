# Fits the primary models again from the tables in this folder, with lme4, and holds them against terms.csv.
#   Rscript primary_models.R
# Needs R with lme4; where lmerTest and pbkrtest are there too, Kenward-Roger standard errors and df are compared as well.
suppressPackageStartupMessages(library(lme4))
has_kr <- requireNamespace("lmerTest", quietly = TRUE) && requireNamespace("pbkrtest", quietly = TRUE)
models <- read.csv("models.csv", stringsAsFactors = FALSE)
ours <- read.csv("terms.csv", stringsAsFactors = FALSE)
fit_with <- if (has_kr) lmerTest::lmer else lme4::lmer
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = 0.2, rhoend = 1e-10, maxfun = 1e5), calc.derivs = FALSE)
plain <- function(term) sapply(strsplit(gsub("\\[T\\.|\\]|[()]", "", term), ":"), function(p) paste(sort(p), collapse = ":"))
found <- list()
for (k in seq_len(nrow(models))) {
  rows <- read.csv(models$file[k], stringsAsFactors = FALSE)
  for (name in names(rows)) if (is.character(rows[[name]]))
    rows[[name]] <- factor(rows[[name]], levels = sort(unique(rows[[name]]), method = "radix"))
  fit <- fit_with(as.formula(models$formula[k]), data = rows, REML = TRUE, control = tight)
  table <- if (has_kr) as.data.frame(coef(summary(fit, ddf = "Kenward-Roger"))) else as.data.frame(coef(summary(fit)))
  found[[k]] <- data.frame(pressure = models$pressure[k], term = rownames(table), estimate = table[["Estimate"]],
                           std_error = table[["Std. Error"]], df = if (has_kr) table[["df"]] else NA)
  print(summary(fit, correlation = FALSE))
}
found <- do.call(rbind, found)
write.csv(found, "terms_from_r.csv", row.names = FALSE)
found$term <- plain(found$term)
ours$term <- plain(ours$term)
both <- merge(ours, found, by = c("pressure", "term"), suffixes = c("_here", "_r"))
stopifnot(nrow(both) == sum(!is.na(ours$estimate)))
off <- function(name) max(abs(both[[paste0(name, "_here")]] - both[[paste0(name, "_r")]]) / both$std_error_r)
cat(sprintf("%d terms of %d models; largest difference of an estimate: %.2g standard errors\n", nrow(both), nrow(models),
            off("estimate")))
if (has_kr) cat(sprintf("largest difference of a Kenward-Roger standard error: %.2g of itself; of its df: %.2g of itself\n",
                        off("std_error"), max(abs(both$df_here / both$df_r - 1))))
if (off("estimate") > 1e-3) stop("the models do not agree")
