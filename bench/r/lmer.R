# One timing of lme4 on one CSV file: Rscript lmer.R rows.csv "random part" none|kenward-roger repeats "mean"
# Prints one line of JSON. The clock covers lmer (and the coefficient table with its df), not reading the file.
suppressMessages({library(lme4); library(lmerTest); library(pbkrtest)})
words <- commandArgs(TRUE)
data <- read.csv(words[1], stringsAsFactors = TRUE)
data$client_key <- factor(data$client_key)
formula <- as.formula(paste("mip_cmh2o ~", words[5], "+", words[2]))
one <- function() {
  if (words[3] == "none") return(lme4::lmer(formula, data, REML = TRUE))
  fit <- lmerTest::lmer(formula, data, REML = TRUE)
  terms_table <<- coef(summary(fit, ddf = "Kenward-Roger"))
  fit
}
clocks <- replicate(as.integer(words[4]), {t <- system.time(fit <<- suppressMessages(one())); c(t[["elapsed"]], t[["user.self"]] + t[["sys.self"]])})
df <- if (words[3] == "none") "null" else sprintf("%.10g", terms_table[2, "df"])
cat(sprintf('{"seconds": [%s], "cpu_seconds": [%s], "log_likelihood": %.8f, "slope": %.10g, "slope_df": %s, "version": "lme4 %s, pbkrtest %s"}\n',
            paste(sprintf("%.4f", clocks[1, ]), collapse = ", "), paste(sprintf("%.4f", clocks[2, ]), collapse = ", "), logLik(fit), fixef(fit)[2], df, packageVersion("lme4"), packageVersion("pbkrtest")))
