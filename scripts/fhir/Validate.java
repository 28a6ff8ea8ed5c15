import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.ResultSeverityEnum;
import ca.uhn.fhir.validation.SingleValidationMessage;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.regex.Pattern;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.r4.model.Bundle;

/**
 * Validates bundles with the HAPI FHIR instance validator against the R4
 * definitions, offline. Arguments: folder of bundles, file of allowed warnings
 * (one regular expression a line), folder of broken bundles with its
 * expected.tsv (file, regular expression that an error must match).
 */
public class Validate {
  public static void main(String[] args) throws Exception {
    FhirContext context = FhirContext.forR4();
    ValidationSupportChain support = new ValidationSupportChain(
        new DefaultProfileValidationSupport(context),
        new CommonCodeSystemsTerminologyService(context),
        new InMemoryTerminologyServerValidationSupport(context));
    FhirValidator validator = context.newValidator();
    validator.registerValidatorModule(new FhirInstanceValidator(support));
    System.out.println("HAPI FHIR " + ca.uhn.fhir.util.VersionUtil.getVersion() + ", R4 " + org.hl7.fhir.r4.model.Constants.VERSION);

    List<Pattern> allowed = new ArrayList<>();
    for (String line : Files.readAllLines(Path.of(args[1]))) {
      if (!line.isBlank() && !line.startsWith("#")) {
        allowed.add(Pattern.compile(line));
      }
    }
    int failed = whole(validator, context, Path.of(args[0]), allowed) + broken(validator, Path.of(args[2]));
    System.exit(failed == 0 ? 0 : 1);
  }

  static List<Path> bundles(Path folder) throws Exception {
    try (var files = Files.list(folder)) {
      return files.filter(p -> p.toString().endsWith(".json")).sorted().toList();
    }
  }

  static int whole(FhirValidator validator, FhirContext context, Path folder, List<Pattern> allowed) throws Exception {
    int failed = 0, resources = 0;
    Map<String, Integer> warnings = new TreeMap<>();
    List<Path> files = bundles(folder);
    for (Path file : files) {
      String text = Files.readString(file);
      resources += context.newJsonParser().parseResource(Bundle.class, text).getEntry().size();
      boolean bad = false;
      for (SingleValidationMessage m : validator.validateWithResult(text).getMessages()) {
        if (m.getSeverity().ordinal() < ResultSeverityEnum.WARNING.ordinal()) {
          continue;
        }
        String key = allowed.stream().filter(p -> p.matcher(m.getMessage()).find()).map(Pattern::pattern).findFirst().orElse(null);
        if (m.getSeverity() == ResultSeverityEnum.WARNING && key != null) {
          warnings.merge(key, 1, Integer::sum);
          continue;
        }
        bad = true;
        System.out.println(file.getFileName() + ": " + m.getSeverity() + " at " + m.getLocationString() + ": " + m.getMessage());
      }
      failed += bad ? 1 : 0;
    }
    System.out.printf("%d bundles with %d resources: %d passed, %d failed%n", files.size(), resources, files.size() - failed, failed);
    warnings.forEach((k, n) -> System.out.println("  allowed warning, " + n + " times: " + k));
    return files.isEmpty() ? 1 : failed;
  }

  static int broken(FhirValidator validator, Path folder) throws Exception {
    int failed = 0, refused = 0;
    for (String line : Files.readAllLines(folder.resolve("expected.tsv"))) {
      String[] row = line.split("\t");
      Pattern want = Pattern.compile(row[1]);
      List<String> errors = new ArrayList<>();
      for (SingleValidationMessage m : validator.validateWithResult(Files.readString(folder.resolve(row[0]))).getMessages()) {
        if (m.getSeverity().ordinal() >= ResultSeverityEnum.ERROR.ordinal()) {
          errors.add(m.getMessage());
        }
      }
      if (errors.stream().anyMatch(e -> want.matcher(e).find())) {
        refused++;
      } else {
        failed++;
        System.out.println(row[0] + ": not refused for its reason (" + row[1] + "): " + errors);
      }
    }
    System.out.printf("%d broken bundles refused, each for its own reason, %d not%n", refused, failed);
    return refused == 0 ? 1 : failed;
  }
}
